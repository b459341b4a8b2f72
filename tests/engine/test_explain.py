"""What is watched for a piece now, on what and why."""

import pytest

from pitlogger.engine.explain import watched
from pitlogger.errors import UsageError
from pitlogger.model.cooks import Stage

from .conftest import COOK, Kitchen
from .test_rules import minutes, ramp

TIMED = COOK.replace('id = "pit"\n', 'id = "pit"\nlow = "210F"\n') + '[timers]\nfuel = "50 min"\n'


def test_limits_of_a_piece_and_of_its_pit_are_told_with_their_reasons() -> None:
    kitchen = Kitchen(TIMED)
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 238, 2, "pit")
    rows = {row["alert"]: row for row in watched(kitchen.engine, "brisket-1")}
    wrap = rows["wrap-due/brisket-1"]
    assert (wrap["judged_on"], wrap["side"]) == ("brisket-1/core", "at or above")
    assert wrap["source"] == "common practice, no source"
    assert rows["pit-low/pit"]["limit_c"] == pytest.approx(98.889, abs=0.001)
    assert rows["flare-up/pit"]["priority"] == "high"


def test_a_timer_is_told_with_what_is_left() -> None:
    kitchen = Kitchen(TIMED)
    kitchen.stage(Stage.SMOKING)
    kitchen.wait(20 * 60)
    (row,) = [row for row in watched(kitchen.engine, "brisket-1") if row["every_s"] is not None]
    assert (row["alert"], row["every_s"], row["remaining_s"]) == (
        "check-due/pit@fuel", 3000, pytest.approx(1800, abs=60),
    )  # fmt: skip
    assert row["state"] == "normal"


def test_a_clock_is_told_with_what_is_left_and_its_source() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 203, 5, "brisket-1/core")
    kitchen.stage(Stage.COOLING)
    ramp(kitchen, 203, 130, 0.5, "brisket-1/core")
    rows = {row["kind"]: row for row in watched(kitchen.engine, "brisket-1")}
    assert 5000 < rows["cooling-stage-1-late"]["remaining_s"] < 7200
    assert "3-501.14" in rows["cooling-stage-1-late"]["source"]


def test_time_out_of_control_is_told_beside_the_limit_that_it_lies_under() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 203, 5, "brisket-1/core")
    kitchen.stage(Stage.HOLDING)
    minutes(kitchen, 120, 30, "brisket-1/core")
    rows = [(row["kind"], row["judged_on"]) for row in watched(kitchen.engine, "brisket-1")]
    assert ("hot-hold-low", "the coldest valid core") in rows
    assert ("time-limit", "the clock of brisket-1: 30 min out of temperature control") in rows


def test_an_unknown_piece_is_told(kitchen: Kitchen) -> None:
    with pytest.raises(UsageError, match="did you mean 'brisket-1'"):
        watched(kitchen.engine, "brisket-2")
