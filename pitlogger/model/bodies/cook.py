"""What happens to a cook and its pieces: begun, marked, divided, noted, eaten."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pitlogger.model.cooks import Cook, Piece, Stage, Wrap


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
class TargetSet:
    piece: str
    wrap_at_mc: int | None = None
    pull_at_mc: int | None = None
    kind: Literal["target-set"] = "target-set"


@dataclass(frozen=True, slots=True)
class Noted:
    """A note about a piece, about the cook ``cook``, or about all that are open."""

    text: str
    piece: str | None = None
    cook: str = ""
    kind: Literal["noted"] = "noted"


@dataclass(frozen=True, slots=True)
class Tenderness:
    """How a piece ate: 1 tough, 2 firm, 3 as it should be, 4 soft, 5 falling apart."""

    piece: str
    mark: int


@dataclass(frozen=True, slots=True)
class MealTold:
    """How a meal went, entered after it; what is entered again later counts in its place.

    ``cook`` is the id of the cook, empty within its own journal. ``came`` is how many ate,
    ``left_mg`` what was left over of the meat. ``None`` is not entered.
    """

    cook: str
    came: int | None = None
    left_mg: int | None = None
    tender: tuple[Tenderness, ...] = ()
    text: str = ""
    kind: Literal["meal-told"] = "meal-told"
