"""Journal entries: what people and rules decided, append-only.

An entry is an envelope (``Entry``) around a body. A correction or an undo is a new entry
that names the old one; nothing is ever changed in place. An entry is known for ever by
(node, run, seq), and shown by its short id, ``k7qm-42``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pitlogger.model.alerts import AlertState, Priority
from pitlogger.model.cooks import Channel, Cook, Piece, Stage, Wrap
from pitlogger.model.entry_ids import short_id
from pitlogger.model.readings import Site


@dataclass(frozen=True, slots=True)
class CookStarted:
    """A cook begins; ``at_ms`` where it began before it was entered."""

    cook: Cook
    at_ms: int | None = None
    kind: Literal["cook-started"] = "cook-started"


@dataclass(frozen=True, slots=True)
class CookFinished:
    """A cook is over; ``cook`` is its id, empty where only one can be meant."""

    name: str
    cook: str = ""
    kind: Literal["cook-finished"] = "cook-finished"


@dataclass(frozen=True, slots=True)
class CookWithdrawn:
    """A cook is taken out of lists and learning; its record stays, struck."""

    cook: str
    reason: str
    kind: Literal["cook-withdrawn"] = "cook-withdrawn"


@dataclass(frozen=True, slots=True)
class LearningSet:
    """Whether something teaches the next plan, said by a person with a reason.

    Either the entry ``of_run``/``of_seq``, or the ``piece``, or the whole cook.
    """

    teaches: bool
    reason: str
    piece: str | None = None
    of_run: str | None = None
    of_seq: int | None = None
    kind: Literal["learning-set"] = "learning-set"


@dataclass(frozen=True, slots=True)
class PieceAdded:
    """A piece joins a cook; ``cook`` is its id, empty where only one can be meant."""

    piece: Piece
    cook: str = ""
    kind: Literal["piece-added"] = "piece-added"


@dataclass(frozen=True, slots=True)
class PieceSplit:
    """A piece became several; each child has stages and weighings of its own."""

    piece: str
    children: tuple[Piece, ...]
    kind: Literal["piece-split"] = "piece-split"


@dataclass(frozen=True, slots=True)
class PiecesMerged:
    """Several pieces became one, as when pulled together."""

    pieces: tuple[str, ...]
    child: Piece
    kind: Literal["pieces-merged"] = "pieces-merged"


@dataclass(frozen=True, slots=True)
class ChannelAssigned:
    """A channel sits somewhere new; earlier assignments stay on record."""

    channel: Channel
    lead: bool = False
    kind: Literal["channel-assigned"] = "channel-assigned"


@dataclass(frozen=True, slots=True)
class StageSet:
    """``at_ms`` may lie in the past; readings between are tagged anew.

    ``timed`` tells how the time is known: marked as it happened, stated by a person, or not
    recorded at all; then only the order of marks means something, and nobody learns from it.
    ``mass_mg`` is what was discarded, ``reason`` why, where the stage is ``discarded``.
    ``source`` tells who found it: a person, or stage recognition with the chance ``p``, which a
    person has agreed to where ``confirmed`` is set.
    """

    piece: str
    stage: Stage
    at_ms: int
    wrap: Wrap | None = None
    timed: Literal["live", "stated", "unrecorded"] = "live"
    confirmed: bool = False
    mass_mg: int | None = None
    reason: str = ""
    source: Literal["person", "inferred"] = "person"
    p: float | None = None
    kind: Literal["stage-set"] = "stage-set"

    @property
    def is_unconfirmed(self) -> bool:
        """Whether recognition alone says so."""
        return self.source == "inferred" and not self.confirmed


@dataclass(frozen=True, slots=True)
class Weighed:
    """Mass at a checkpoint, of a by-product, or of what was put on.

    ``tare_mg`` is what was set aside as container; ``net = gross - tare``.
    ``interval_mg`` is the scale interval; 0 where it is not known. ``confirmed``: a person
    said that it is right though it looks hardly possible.
    """

    piece: str
    checkpoint: str
    gross_mg: int
    tare_mg: int
    at_ms: int
    source: Literal["scale", "typed"] = "typed"
    channel: str | None = None
    interval_mg: int = 0
    container: str | None = None
    preset_tare: bool = False
    confirmed: bool = False
    timed: Literal["live", "stated", "unrecorded"] = "live"
    kind: Literal["weighed"] = "weighed"

    @property
    def net_mg(self) -> int:
        return self.gross_mg - self.tare_mg


@dataclass(frozen=True, slots=True)
class SpotRead:
    """A hand probe's reading of a piece's core, or of a site."""

    value_mc: int
    at_ms: int
    piece: str | None = None
    site: Site = Site.SPOT
    probe: str | None = None
    confirmed: bool = False
    timed: Literal["live", "stated", "unrecorded"] = "live"
    kind: Literal["spot-read"] = "spot-read"


@dataclass(frozen=True, slots=True)
class Noted:
    """A note about a piece, about the cook ``cook``, or about all that are open."""

    text: str
    piece: str | None = None
    cook: str = ""
    kind: Literal["noted"] = "noted"


@dataclass(frozen=True, slots=True)
class TargetSet:
    piece: str
    wrap_at_mc: int | None = None
    pull_at_mc: int | None = None
    kind: Literal["target-set"] = "target-set"


@dataclass(frozen=True, slots=True)
class Tared:
    """The scale was tared in software: this gross mass counts as container from now on."""

    channel: str
    tare_mg: int
    container: str | None = None
    kind: Literal["tared"] = "tared"


@dataclass(frozen=True, slots=True)
class ProbeMoved:
    """A probe was moved within its piece; its trend starts anew."""

    channel: str
    kind: Literal["probe-moved"] = "probe-moved"


@dataclass(frozen=True, slots=True)
class Adjusted:
    """A channel's offset was set, as after an ice-point check."""

    channel: str
    offset: int
    reason: str = ""
    kind: Literal["adjusted"] = "adjusted"


@dataclass(frozen=True, slots=True)
class Undone:
    """The entry named no longer counts."""

    of_run: str
    of_seq: int
    reason: str = ""
    kind: Literal["undone"] = "undone"


@dataclass(frozen=True, slots=True)
class Corrected:
    """The entry named counts as if it had said ``body``."""

    of_run: str
    of_seq: int
    body: Correctable
    reason: str = ""
    kind: Literal["corrected"] = "corrected"


@dataclass(frozen=True, slots=True)
class AlertActed:
    """A person acted on an alert."""

    alert: str
    action: Literal[
        "acknowledge", "unacknowledge", "shelve", "unshelve", "remove", "return", "reset", "answer"
    ]
    until_ms: int | None = None
    reason: str = ""
    kind: Literal["alert-acted"] = "alert-acted"


@dataclass(frozen=True, slots=True)
class AlertChanged:
    """An alert entered a state."""

    alert: str
    alert_kind: str
    was: AlertState
    now: AlertState
    priority: Priority
    wakes: bool = False
    piece: str | None = None
    channel: str | None = None
    value: int | None = None
    unit: Literal["c", "g"] | None = None
    message: str = ""
    remedy: str = ""
    until_ms: int | None = None
    limit: int | None = None  # of a limit alert, milli-units at the crossing
    kind: Literal["alert-changed"] = "alert-changed"


@dataclass(frozen=True, slots=True)
class Doubted:
    """Something looks wrong and is asked, never refused or silently taken."""

    piece: str
    doubt: str
    message: str
    about: int | None = None  # seq of the entry in doubt, same run
    kind: Literal["doubted"] = "doubted"


@dataclass(frozen=True, slots=True)
class ChannelDoubted:
    """Readings of a channel are not believed from ``from_ms`` on, in engine milliseconds.

    An open span (``to_ms`` is ``None``) ends with a later entry of the same channel, reason
    and start that has an end. ``believed`` takes the doubt back: a person says it was right.
    """

    channel: str
    reason: str
    from_ms: int
    to_ms: int | None = None
    piece: str | None = None
    believed: bool = False
    kind: Literal["channel-doubted"] = "channel-doubted"


@dataclass(frozen=True, slots=True)
class ForecastMade:
    """A forecast took effect; quantiles are engine milliseconds, or ``None`` if never reached."""

    piece: str
    target: Literal["wrap", "pull", "rest"]
    p_reach: float
    widened: bool
    requested_ms: int
    p10_ms: int | None = None
    p50_ms: int | None = None
    p90_ms: int | None = None
    reason: str = ""
    kind: Literal["forecast-made"] = "forecast-made"

    @property
    def of(self) -> str:
        """Tells forecasts of several targets apart."""
        return f"{self.piece}/{self.target}"


@dataclass(frozen=True, slots=True)
class ForecastSkipped:
    piece: str
    target: Literal["wrap", "pull", "rest"]
    requested_ms: int
    reason: str
    kind: Literal["forecast-skipped"] = "forecast-skipped"

    @property
    def of(self) -> str:
        """Tells forecasts of several targets apart."""
        return f"{self.piece}/{self.target}"


@dataclass(frozen=True, slots=True)
class LocalScore:
    """One moment of a finished cook of the owner's: how far off the forecast was.

    ``z`` is (log true remaining time - log forecast) / forecast spread. ``cook`` tells
    cooks apart; ``family`` is the family of the piece, empty ``piece`` of earlier records.
    """

    cook: str
    family: str
    z: float
    piece: str = ""


@dataclass(frozen=True, slots=True)
class ForecastScored:
    """A cook is finished: how far off its forecasts were."""

    scores: tuple[LocalScore, ...]
    kind: Literal["forecast-scored"] = "forecast-scored"


@dataclass(frozen=True, slots=True)
class ForecastTaught:
    """A cook begins: what earlier ones teach its forecasts. Its record holds it for replay."""

    scores: tuple[LocalScore, ...]
    kind: Literal["forecast-taught"] = "forecast-taught"


@dataclass(frozen=True, slots=True)
class DeviceChanged:
    """A device was found, lost or is in trouble; ``remedy`` says what to do."""

    device: str
    status: Literal["up", "lost"]
    message: str = ""
    remedy: str = ""
    kind: Literal["device-changed"] = "device-changed"


@dataclass(frozen=True, slots=True)
class TroubleChanged:
    """Something outside the readings went wrong or was mended: store, disk, clock, notifying.

    ``alert`` is the kind of alert it raises, ``subject`` what is in trouble.
    """

    alert: Literal[
        "store-failing",
        "notify-failing",
        "uplink-behind",
        "node-slow",
        "disk-low",
        "clock-unset",
        "battery-low",
        "check-overdue",
    ]
    subject: str
    active: bool
    message: str = ""
    remedy: str = ""
    kind: Literal["trouble-changed"] = "trouble-changed"


@dataclass(frozen=True, slots=True)
class CheckMade:
    """A thermometer or scale was verified; ``within`` says whether it met its tolerance.

    ``error`` and ``tolerance`` are milli-units: milli-kelvin, or milligrams for a scale.
    """

    instrument: str
    method: Literal["ice", "boil", "scale"]
    error: int
    tolerance: int
    within: bool
    reference: str = ""
    kind: Literal["check-made"] = "check-made"


@dataclass(frozen=True, slots=True)
class Received:
    """A piece as it came in, accepted or refused.

    ``condition`` is what was seen: cold, sealed, damaged; of what was refused, why.
    """

    piece: str
    accepted: bool
    at_ms: int
    value_mc: int | None = None
    condition: str = ""
    supplier: str | None = None
    lot: str | None = None
    timed: Literal["live", "stated", "unrecorded"] = "live"
    kind: Literal["received"] = "received"


@dataclass(frozen=True, slots=True)
class CorrectiveTaken:
    """What was done about a limit not met: cause, control restored, prevention, disposition."""

    piece: str
    cause: str
    control_restored: str
    prevention: str
    disposition: str
    alert: str | None = None
    kind: Literal["corrective-taken"] = "corrective-taken"


@dataclass(frozen=True, slots=True)
class SignedOff:
    """A cook's record was reviewed up to its ``entries``-th entry, whose hash is ``head``.

    ``name`` is the signer's, who confirmed it with a PIN.
    """

    cook: str
    entries: int
    head: str
    name: str = ""
    kind: Literal["signed-off"] = "signed-off"


@dataclass(frozen=True, slots=True)
class Tenderness:
    """How a piece ate: 1 tough, 2 firm, 3 as it should be, 4 soft, 5 falling apart."""

    piece: str
    mark: int


@dataclass(frozen=True, slots=True)
class MealTold:
    """How a meal went, told after it; what is told again later counts in its place.

    ``cook`` is the id of the cook, empty within its own journal. ``came`` is how many ate,
    ``left_mg`` what was left over of the meat. ``None`` is not told.
    """

    cook: str
    came: int | None = None
    left_mg: int | None = None
    tender: tuple[Tenderness, ...] = ()
    text: str = ""
    kind: Literal["meal-told"] = "meal-told"


@dataclass(frozen=True, slots=True)
class RunStarted:
    """A process life began. ``gap_ms`` is the time since the last run, ``None`` if unknown."""

    boot_id: str
    version: str
    utc_trusted: bool
    gap_ms: int | None = None
    kind: Literal["run-started"] = "run-started"


@dataclass(frozen=True, slots=True)
class ClockSet:
    """Wall time became known or was stepped; ``offset_ms`` is UTC less engine time from now on.

    ``gap_ms`` is the time since the last run, where that was not known when this one began.
    """

    offset_ms: int
    trusted: bool = True
    gap_ms: int | None = None
    kind: Literal["clock-set"] = "clock-set"


Correctable = (
    CookStarted | Weighed | StageSet | SpotRead | Noted | ChannelAssigned | PieceAdded | TargetSet
)
Body = (
    CookStarted
    | CookFinished
    | CookWithdrawn
    | LearningSet
    | PieceAdded
    | PieceSplit
    | PiecesMerged
    | ChannelAssigned
    | StageSet
    | Weighed
    | SpotRead
    | Noted
    | TargetSet
    | Tared
    | ProbeMoved
    | Adjusted
    | Undone
    | Corrected
    | AlertActed
    | AlertChanged
    | Doubted
    | ChannelDoubted
    | ForecastMade
    | ForecastSkipped
    | ForecastScored
    | ForecastTaught
    | DeviceChanged
    | TroubleChanged
    | CheckMade
    | Received
    | CorrectiveTaken
    | SignedOff
    | MealTold
    | RunStarted
    | ClockSet
)


@dataclass(frozen=True, slots=True)
class Entry:
    """One journal entry.

    Attributes:
        run: Run id; with the node it makes ``seq`` unique for ever.
        seq: Position within the run, from 1.
        t_ms: Engine milliseconds when it was made.
        by: Initials of the person, or empty for a rule.
        body: What was decided.
        key: Idempotency key of the request that caused it, if any.
    """

    run: str
    seq: int
    t_ms: int
    body: Body
    by: str = ""
    key: str = ""

    @property
    def id(self) -> str:
        """The short id by which it is shown and named, ``k7qm-42``."""
        return short_id(self.run, self.seq)
