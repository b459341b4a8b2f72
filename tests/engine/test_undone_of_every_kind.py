"""Every kind of entry a person makes, and its undo, are as if neither had been.

The likeliest: a mark tapped too early, a probe given to the wrong piece, a check typed wrong, a
cook finished by mistake, a piece held by time that is not.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from pitlogger.errors import RefusedError, UsageError
from pitlogger.model.alerts import AlertState
from pitlogger.model.cooks import Channel, Piece, Stage
from pitlogger.model.journal import (
    Adjusted,
    AlertActed,
    Body,
    ChannelAssigned,
    CheckMade,
    CookFinished,
    CorrectiveTaken,
    HeldByTime,
    LearningSet,
    MealTold,
    Noted,
    PieceAdded,
    PieceSplit,
    ProbeMoved,
    Received,
    SpotRead,
    StageSet,
    TargetSet,
    Undone,
    Weighed,
)
from pitlogger.model.readings import Site

from .conftest import Kitchen
from .test_rules import minutes, ramp
from .test_taken_back import last_id, standing

Make = Callable[[int], Body]
MADE: dict[str, Make] = {
    "off the pit": lambda t: StageSet("brisket-1", Stage.RESTING, t),
    "served": lambda t: StageSet("brisket-1", Stage.SERVED, t),
    "cooling": lambda t: StageSet("brisket-1", Stage.COOLING, t),
    "discarded": lambda t: StageSet("brisket-1", Stage.DISCARDED, t),
    "off half an hour ago": lambda t: StageSet("brisket-1", Stage.RESTING, t - 1_800_000),
    "cold by hand": lambda t: SpotRead(-11_000, t, "brisket-1"),
    "hot by hand": lambda t: SpotRead(98_900, t, "brisket-1"),
    "weighed": lambda t: Weighed("brisket-1", "at-wrap", 5_400_000, 0, t),
    "targets": lambda t: TargetSet("brisket-1", 50_000, 60_000),
    "note": lambda t: Noted("wind got up", "brisket-1"),
    "another piece": lambda t: PieceAdded(Piece("butt-1", "pork-butt")),
    "split": lambda t: PieceSplit("brisket-1", (Piece("point-1"), Piece("flat-1"))),
    "probe taken out": lambda t: ChannelAssigned(Channel("brisket-1/core")),
    "probe in the pit": lambda t: ChannelAssigned(Channel("brisket-1/core", Site.PIT)),
    "finished": lambda t: CookFinished("harvest supper"),
    "by time": lambda t: HeldByTime("brisket-1", t),
    "received": lambda t: Received("brisket-1", True, t, 3_000),
    "teaches not": lambda t: LearningSet(False, "rain", piece="brisket-1"),
    "meal": lambda t: MealTold("", came=30),
}  # fmt: skip
# Mended by a later entry of the same kind: a check by a check.
NOT_TAKEN_BACK: dict[str, Body] = {
    "probe moved": ProbeMoved("brisket-1/core"),
    "failed check": CheckMade("brisket-1/core", "ice", 4_000, 1_000, False),
    "offset": Adjusted("brisket-1/core", -6_000),
    "corrective": CorrectiveTaken("brisket-1", "lid", "shut", "watch", "kept"),
}
SITUATIONS: dict[str, tuple[Stage, float]] = {
    "on the pit": (Stage.SMOKING, 150.0),
    "held": (Stage.HOLDING, 150.0),
    "held too cold": (Stage.HOLDING, 131.0),
}


def kitchen_at(stage: Stage, level_f: float) -> Kitchen:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    ramp(kitchen, 100, 170, 0.8, "brisket-1/core")
    if stage is not Stage.SMOKING:
        kitchen.stage(stage)
    ramp(kitchen, 170, level_f, 0.5, "brisket-1/core")
    minutes(kitchen, level_f, 3, "brisket-1/core")
    return kitchen


@pytest.mark.parametrize("later_min", [0, 4])
@pytest.mark.parametrize("situation", SITUATIONS)
@pytest.mark.parametrize("what", MADE)
def test_an_entry_and_its_undo_leave_nothing(what: str, situation: str, later_min: int) -> None:
    stage, level_f = SITUATIONS[situation]
    with_it, without = kitchen_at(stage, level_f), kitchen_at(stage, level_f)
    wrong = MADE[what](with_it.t_ms)
    if isinstance(wrong, HeldByTime) and stage is Stage.SMOKING:
        with pytest.raises(RefusedError):
            with_it.say(wrong)
        return
    with_it.say(wrong, by="AB")
    of = last_id(with_it, type(wrong))
    for kitchen in (with_it, without):
        if later_min:
            minutes(kitchen, level_f, later_min, "brisket-1/core")
    with_it.say(Undone(*of), by="AB")
    for kitchen in (with_it, without):
        minutes(kitchen, level_f, 2, "brisket-1/core")
    assert told_anew(with_it) == told_anew(without)


def told_anew(kitchen: Kitchen) -> dict[str, Any]:
    """Return how things stand; a prompt that was over and not seen may be gone.

    A clock that is told anew goes by the minutes kept, so it may begin a minute off.
    """
    found = standing(kitchen)
    over = AlertState.RETURNED_UNACKNOWLEDGED
    found["open"] = {
        key: state
        for key, state in found["open"].items()
        if not (key.startswith("wrap-due") and state == over)
    }
    found["clocks"] = {
        kind: (is_true, left_s and pytest.approx(left_s, abs=60))
        for kind, (is_true, left_s) in found["clocks"].items()
    }
    found["hold"] = {
        name: pytest.approx(value, abs=60_000) if name.endswith("_ms") and value else value
        for name, value in found["hold"].items()
    }
    return found


@pytest.mark.parametrize("what", NOT_TAKEN_BACK)
def test_what_cannot_be_taken_back_is_refused_and_leaves_nothing(what: str) -> None:
    kitchen = kitchen_at(*SITUATIONS["held"])
    kitchen.say(NOT_TAKEN_BACK[what])
    made = len(kitchen.entries())
    with pytest.raises(UsageError, match="undone"):
        kitchen.say(Undone(*last_id(kitchen, type(NOT_TAKEN_BACK[what]))))
    assert len(kitchen.entries()) == made


def test_an_acknowledgement_is_taken_back_by_its_opposite() -> None:
    kitchen = kitchen_at(*SITUATIONS["held too cold"])
    key = "hot-hold-low/brisket-1"
    kitchen.say(AlertActed(key, "acknowledge"), by="AB")
    assert standing(kitchen)["open"][key] == "acknowledged"
    kitchen.say(AlertActed(key, "unacknowledge"), by="AB")
    assert standing(kitchen)["open"][key] == "unacknowledged"
