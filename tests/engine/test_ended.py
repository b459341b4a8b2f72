"""Alerts end with what they are about; a food breach stays. What cannot be is refused."""

from __future__ import annotations

import pytest

from pitlogger.engine.inputs import ForecastRequest
from pitlogger.errors import UsageError
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.alerts import AlertState
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import CookFinished, CookStarted, SpotRead, StageSet, TroubleChanged

from .conftest import COOK, Kitchen
from .test_rules import minutes, ramp
from .test_taken_back import open_alerts

DAY_MS = 24 * 3_600_000


def test_prompts_and_probes_end_with_their_cook_and_a_breach_does_not() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    ramp(kitchen, 150, 204, 2, "brisket-1/core")
    kitchen.wait(900)
    assert {"pull-due/brisket-1", "channel-stale/brisket-1/core"} <= open_alerts(kitchen).keys()
    kitchen.stage(Stage.HOLDING)
    ramp(kitchen, 204, 125, 3, "brisket-1/core")
    kitchen.say(CookFinished("harvest supper"))
    kitchen.wait(120)
    assert open_alerts(kitchen).keys() == {"hot-hold-low/brisket-1"}


def test_a_carved_piece_needs_no_probe() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 200, 5, "brisket-1/core")
    kitchen.wait(900)
    key = "channel-stale/brisket-1/core"
    assert key in open_alerts(kitchen)
    kitchen.stage(Stage.CARVED)
    assert kitchen.engine.state.watches[key].state is AlertState.NORMAL


def test_discarding_twice_and_times_outside_the_cook_are_refused() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    with pytest.raises(UsageError, match="before this cook"):
        kitchen.say(SpotRead(60_000, kitchen.t_ms - 3 * DAY_MS, "brisket-1"))
    with pytest.raises(UsageError, match="future"):
        kitchen.say(SpotRead(60_000, kitchen.t_ms + DAY_MS, "brisket-1"))
    kitchen.stage(Stage.DISCARDED)
    kitchen.t_ms += 60_000
    with pytest.raises(UsageError, match="discarded already"):
        kitchen.say(StageSet("brisket-1", Stage.DISCARDED, kitchen.t_ms))


@pytest.mark.parametrize("before", ["150", "180"])
def test_no_target_is_reached_on_a_rise_that_no_meat_makes(before: str) -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, float(before), 30, "brisket-1/core")
    minutes(kitchen, 205, 4, "brisket-1/core")
    assert "pull-due/brisket-1" not in open_alerts(kitchen)
    minutes(kitchen, float(before), 10, "brisket-1/core")
    ramp(kitchen, float(before), 204, 2, "brisket-1/core")
    assert "pull-due/brisket-1" in open_alerts(kitchen)


def test_a_probe_that_fell_out_goes_on_alarming() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 200, 5, "brisket-1/core")
    kitchen.stage(Stage.HOLDING)
    minutes(kitchen, 190, 5, "brisket-1/core")
    minutes(kitchen, 75, 5, "brisket-1/core")
    assert open_alerts(kitchen)["hot-hold-low/brisket-1"] == "unacknowledged"


def test_a_delay_that_runs_out_after_its_cook_is_forgotten_is_nothing() -> None:
    """A breach by hand, the piece discarded, the cook finished and the next begun in a minute."""
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 200, 5, "brisket-1/core")
    kitchen.stage(Stage.HOLDING)
    kitchen.say(SpotRead(40_000, kitchen.t_ms, "brisket-1"))
    kitchen.wait(5)
    kitchen.stage(Stage.DISCARDED)
    kitchen.say(CookFinished("harvest supper"))
    kitchen.wait(5)
    kitchen.say(CookStarted(parse_cook(COOK)))
    kitchen.wait(120)
    assert "hot-hold-low/brisket-1" not in open_alerts(kitchen)


def test_the_next_cook_begins_with_the_troubles_of_the_node_and_no_alert_of_the_last() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    ramp(kitchen, 150, 204, 2, "brisket-1/core")
    kitchen.say(TroubleChanged("disk-low", "node", True, "the disk is nearly full"))
    kitchen.say(CookFinished("harvest supper"))
    kitchen.say(CookStarted(parse_cook(COOK.replace("harvest supper", "market"))))
    assert open_alerts(kitchen).keys() == {"disk-low/node"}


def test_a_finished_cook_is_forecast_and_judged_no_more() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 150, 5, "brisket-1/core")
    kitchen.say(CookFinished("harvest supper"))
    before = len(kitchen.out)
    kitchen.wait(3600)
    state = kitchen.engine.state
    assert (state.forecast_ms, state.minute_ms) == (None, None)
    assert not any(isinstance(one, ForecastRequest) for one in kitchen.out[before:])
