"""What was measured by hand or scale, by which instrument, and what is not believed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pitlogger.model.cooks import Channel
from pitlogger.model.readings import Site


@dataclass(frozen=True, slots=True)
class ChannelAssigned:
    """A channel sits somewhere new; earlier assignments stay on record.

    ``at_ms`` where it sat there before that was said: what it read since belongs there, and gives
    no credit by that word alone (``safety.recorded``). ``swapped_with`` is the channel that goes
    where this one sat.
    """

    channel: Channel
    lead: bool = False
    at_ms: int | None = None
    swapped_with: str | None = None
    kind: Literal["channel-assigned"] = "channel-assigned"


@dataclass(frozen=True, slots=True)
class ProbeMoved:
    """A probe was moved within its piece; its trend starts anew."""

    channel: str
    kind: Literal["probe-moved"] = "probe-moved"


@dataclass(frozen=True, slots=True)
class Weighed:
    """Mass at a checkpoint, of a by-product, or of what was put on.

    ``tare_mg`` is what was set aside as container; ``net = gross - tare``.
    ``interval_mg`` is the scale interval; 0 where it is not known. ``confirmed``: a person
    said that it is right though it looks hardly possible. ``reason`` is why a part of the piece was
    thrown away, the rest of which goes on. ``p`` is how likely it
    is that piece at that checkpoint, where it was recognised and kept by itself.
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
    reason: str = ""
    p: float | None = None
    kind: Literal["weighed"] = "weighed"

    @property
    def is_unconfirmed(self) -> bool:
        """Whether recognition alone says what it is."""
        return self.p is not None and not self.confirmed

    @property
    def net_mg(self) -> int:
        return self.gross_mg - self.tare_mg


@dataclass(frozen=True, slots=True)
class Tared:
    """The scale was tared in software: this gross mass counts as container from now on."""

    channel: str
    tare_mg: int
    container: str | None = None
    kind: Literal["tared"] = "tared"


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
class Adjusted:
    """A channel's offset was set, as after an ice-point check."""

    channel: str
    offset: int
    reason: str = ""
    kind: Literal["adjusted"] = "adjusted"


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
    and start that has an end. One entered by a person is a word about that doubt: it was right,
    or, where ``believed``, it was wrong. A word alone gives no credit (``safety.recorded``).
    """

    channel: str
    reason: str
    from_ms: int
    to_ms: int | None = None
    piece: str | None = None
    believed: bool = False
    kind: Literal["channel-doubted"] = "channel-doubted"
