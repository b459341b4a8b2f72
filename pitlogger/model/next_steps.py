"""What most often comes next for a piece, and what a button may do about it."""

from __future__ import annotations

from typing import Literal

from pitlogger.model.cooks import Stage

ButtonAct = Literal["keep-weight", "next-stage", "acknowledge", "yes"]
# The stage that most often comes next; a button offers it.
NEXT_STAGE: dict[Stage, Stage] = {
    Stage.RAW: Stage.TRIMMED,
    Stage.THAWING: Stage.TRIMMED,
    Stage.BRINING: Stage.SEASONED,
    Stage.TRIMMED: Stage.SEASONED,
    Stage.SEASONED: Stage.SMOKING,
    Stage.SMOKING: Stage.WRAPPED,
    Stage.WRAPPED: Stage.RESTING,
    Stage.RESTING: Stage.HOLDING,
    Stage.HOLDING: Stage.CARVED,
    Stage.IN_TRANSIT: Stage.SERVING,
    Stage.CARVED: Stage.SERVING,
    Stage.SERVING: Stage.SERVED,
    Stage.SERVED: Stage.COOLING,
    Stage.COOLING: Stage.CHILLED,
    Stage.CHILLED: Stage.REHEATING,
    Stage.REHEATING: Stage.HOLDING,
}
# The checkpoint that is weighed next, by stage.
NEXT_CHECKPOINT: dict[Stage, str] = {
    Stage.RAW: "purchased",
    Stage.THAWING: "thawed",
    Stage.BRINING: "brined",
    Stage.TRIMMED: "trimmed",
    Stage.SEASONED: "seasoned",
    Stage.SMOKING: "at-wrap",
    Stage.WRAPPED: "off-pit",
    Stage.RESTING: "rested",
    Stage.HOLDING: "out-of-hold",
    Stage.CARVED: "carved",
    Stage.SERVING: "served",
    Stage.SERVED: "leftover",
}
