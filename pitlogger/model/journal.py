"""Journal entries: what people and rules decided, append-only.

An entry is an envelope (``Entry``) around a body. A correction or an undo is a new entry
that names the old one; nothing is ever changed in place. An entry is known for ever by
(node, run, seq), and shown by its short id, ``k7qm-42``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pitlogger.model.bodies.cook import (
    CookFinished,
    CookStarted,
    CookWithdrawn,
    LearningSet,
    MealTold,
    Noted,
    PieceAdded,
    PiecesMerged,
    PieceSplit,
    StageSet,
    TargetSet,
    Tenderness,
)
from pitlogger.model.bodies.food import (
    CorrectiveTaken,
    HeldByTime,
    Received,
    SignedOff,
)
from pitlogger.model.bodies.measured import (
    Adjusted,
    ChannelAssigned,
    ChannelDoubted,
    CheckMade,
    Doubted,
    ProbeMoved,
    SpotRead,
    Tared,
    Weighed,
)
from pitlogger.model.bodies.watch import (
    AlertActed,
    AlertChanged,
    ClockSet,
    DeviceChanged,
    ForecastMade,
    ForecastScored,
    ForecastSkipped,
    ForecastTaught,
    LocalScore,
    RunStarted,
    TroubleChanged,
)
from pitlogger.model.entry_ids import short_id

__all__ = [
    "Adjusted", "AlertActed", "AlertChanged", "Body", "ChannelAssigned", "ChannelDoubted",
    "CheckMade", "ClockSet", "CookFinished", "CookStarted", "CookWithdrawn", "Correctable",
    "Corrected", "CorrectiveTaken", "DeviceChanged", "Doubted", "Entry", "ForecastMade",
    "ForecastScored", "ForecastSkipped", "ForecastTaught", "HeldByTime", "LearningSet",
    "LocalScore", "MealTold", "Noted", "PieceAdded", "PieceSplit", "PiecesMerged", "ProbeMoved",
    "Received", "RunStarted", "SignedOff", "SpotRead", "StageSet", "Tared", "TargetSet",
    "Tenderness", "TroubleChanged", "Undone", "Weighed",
]  # fmt: skip


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


Correctable = (
    CookStarted | Weighed | StageSet | SpotRead | Noted | ChannelAssigned | PieceAdded | TargetSet
    | HeldByTime
)  # fmt: skip
Body = (
    CookStarted | CookFinished | CookWithdrawn | LearningSet | PieceAdded | PieceSplit
    | PiecesMerged | ChannelAssigned | StageSet | Weighed | SpotRead | Noted | TargetSet | Tared
    | ProbeMoved | Adjusted | Undone | Corrected | AlertActed | AlertChanged | Doubted
    | ChannelDoubted | ForecastMade | ForecastSkipped | ForecastScored | ForecastTaught
    | DeviceChanged | TroubleChanged | CheckMade | Received | HeldByTime | CorrectiveTaken
    | SignedOff | MealTold | RunStarted | ClockSet
)  # fmt: skip


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
