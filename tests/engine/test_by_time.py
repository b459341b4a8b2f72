"""Food that is held by time: its clock as it runs, through restarts, undos and late entries."""

from __future__ import annotations

from typing import Literal

import pytest

from pitlogger.engine.restart import begin_run
from pitlogger.engine.snapshot import dump_state, load_state
from pitlogger.engine.step import Engine
from pitlogger.errors import PitloggerError
from pitlogger.model.cooks import Piece, Stage
from pitlogger.model.journal import (
    ClockSet,
    Corrected,
    HeldByTime,
    PieceSplit,
    SpotRead,
    StageSet,
    Undone,
)
from pitlogger.model.quantities import milli_c_from_fahrenheit

from .conftest import Kitchen
from .test_rules import minutes, ramp, states
from .test_taken_back import last_id, open_alerts

CORE = "brisket-1/core"
DUE, NEAR, LOW = "discard-due/brisket-1", "discard-near/brisket-1", "hot-hold-low/brisket-1"


def sliced() -> Kitchen:
    """Return a kitchen with a brisket at 150 F on the buffet, its probe pulled soon."""
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 203, 10, CORE)
    kitchen.stage(Stage.SERVING)
    ramp(kitchen, 203, 150, 1, CORE)
    return kitchen


def by_time(kitchen: Kitchen, ago_min: float = 0, hours: Literal[4, 6] = 4) -> None:
    kitchen.say(HeldByTime("brisket-1", kitchen.t_ms - round(ago_min * 60_000), hours))


def test_the_clock_runs_to_a_prompt_and_then_an_alarm_until_it_is_discarded() -> None:
    kitchen = sliced()
    by_time(kitchen)
    ramp(kitchen, 150, 90, 1, CORE)
    assert not {LOW, DUE, NEAR} & open_alerts(kitchen).keys()
    kitchen.wait(2.4 * 3600)
    assert NEAR not in open_alerts(kitchen)
    kitchen.wait(0.15 * 3600)
    assert open_alerts(kitchen)[NEAR] == "unacknowledged"
    kitchen.wait(0.5 * 3600)
    assert open_alerts(kitchen)[DUE] == "unacknowledged"
    assert NEAR not in open_alerts(kitchen)
    assert "time-limit/brisket-1" not in open_alerts(kitchen)
    kitchen.stage(Stage.DISCARDED)
    kitchen.wait(61)
    assert open_alerts(kitchen)[DUE] == "latched-unacknowledged"


def test_what_was_served_in_time_raises_nothing() -> None:
    kitchen = sliced()
    by_time(kitchen)
    kitchen.wait(3 * 3600)
    kitchen.stage(Stage.SERVED)
    kitchen.wait(3 * 3600)
    assert not {DUE, NEAR} & open_alerts(kitchen).keys()


def test_begun_after_a_breach_it_undoes_nothing() -> None:
    kitchen = sliced()
    minutes(kitchen, 120, 3, CORE)
    assert open_alerts(kitchen)[LOW] == "unacknowledged"
    minutes(kitchen, 150, 3, CORE)
    by_time(kitchen)
    minutes(kitchen, 90, 5, CORE)
    assert open_alerts(kitchen)[LOW] == "latched-unacknowledged"
    assert states(kitchen, "hot-hold-low") == ["unacknowledged", "latched-unacknowledged"]


def test_taken_back_its_temperature_is_the_limit_again() -> None:
    kitchen = sliced()
    by_time(kitchen)
    ramp(kitchen, 150, 110, 1, CORE)
    assert LOW not in open_alerts(kitchen)
    kitchen.say(Undone(*last_id(kitchen, HeldByTime)))
    assert open_alerts(kitchen)[LOW] == "unacknowledged"
    assert kitchen.engine.state.clocks["brisket-1"].by_time is None


def test_an_alarm_of_its_time_returns_with_it() -> None:
    kitchen = sliced()
    by_time(kitchen)
    kitchen.wait(4.1 * 3600)
    assert open_alerts(kitchen)[DUE] == "unacknowledged"
    kitchen.say(Undone(*last_id(kitchen, HeldByTime)))
    assert DUE not in open_alerts(kitchen)


def test_corrected_to_an_earlier_time_it_is_over_earlier_until_that_is_taken_back() -> None:
    kitchen = sliced()
    kitchen.wait(60)
    by_time(kitchen)
    of, begun_ms = last_id(kitchen, HeldByTime), kitchen.t_ms
    kitchen.wait(3.9 * 3600)
    assert DUE not in open_alerts(kitchen)
    kitchen.say(Corrected(*of, HeldByTime("brisket-1", begun_ms - 20 * 60_000)))
    kitchen.wait(61)
    assert open_alerts(kitchen)[DUE] == "unacknowledged"
    kitchen.say(Undone(*last_id(kitchen, Corrected)))
    kitchen.wait(61)
    assert DUE not in open_alerts(kitchen)
    kitchen.wait(600)
    assert open_alerts(kitchen)[DUE] == "unacknowledged"


def test_a_stage_taken_back_lets_the_clock_run_on() -> None:
    kitchen = sliced()
    by_time(kitchen)
    kitchen.wait(3600)
    kitchen.stage(Stage.SERVED)
    kitchen.wait(60)
    kitchen.say(Undone(*last_id(kitchen, StageSet)))
    kitchen.wait(3.1 * 3600)
    assert open_alerts(kitchen)[DUE] == "unacknowledged"


def test_entered_late_it_counts_from_when_it_began() -> None:
    kitchen = sliced()
    kitchen.wait(60 * 60)
    by_time(kitchen, ago_min=60)
    kitchen.wait(3 * 3600 + 61)
    assert open_alerts(kitchen)[DUE] == "unacknowledged"


def test_six_hours_alarm_at_once_above_70_f() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.CHILLED)
    minutes(kitchen, 38, 5, CORE)
    by_time(kitchen, hours=6)
    ramp(kitchen, 38, 69, 1, CORE)
    assert DUE not in open_alerts(kitchen)
    minutes(kitchen, 71, 2, CORE)
    assert open_alerts(kitchen)[DUE] == "unacknowledged"


def test_six_hours_ask_for_a_reading_and_four_do_not() -> None:
    for hours, asks in ((6, True), (4, False)):
        kitchen = Kitchen()
        kitchen.stage(Stage.CHILLED)
        kitchen.say(SpotRead(milli_c_from_fahrenheit(38), kitchen.t_ms, "brisket-1"))
        by_time(kitchen, hours=6 if hours == 6 else 4)
        kitchen.wait(70 * 60)
        assert ("check-due/brisket-1" in open_alerts(kitchen)) is asks


def test_going_back_to_the_cold_is_told_within_a_minute() -> None:
    kitchen = sliced()
    by_time(kitchen)
    kitchen.wait(3600)
    kitchen.stage(Stage.COOLING)
    kitchen.wait(61)
    assert open_alerts(kitchen)[DUE] == "unacknowledged"
    assert "cooling-stage-1-late/brisket-1" not in open_alerts(kitchen)


def test_it_survives_a_restart_and_a_gap_that_nobody_knows() -> None:
    kitchen = sliced()
    by_time(kitchen)
    kitchen.wait(1800)
    kitchen.engine = Engine(load_state(dump_state(kitchen.engine.state)), kitchen.engine.policy)
    clock = kitchen.engine.state.clocks["brisket-1"].by_time
    assert clock is not None
    assert clock.remaining_s(kitchen.t_ms) == 3.5 * 3600
    begin_run(kitchen.engine, "r2", kitchen.t_ms, gap_is_known=False)
    kitchen.engine = Engine(kitchen.engine.state, kitchen.engine.policy)
    kitchen.wait(61)
    assert open_alerts(kitchen)[DUE] == "unacknowledged"  # the worst is assumed
    kitchen.say(ClockSet(0, gap_ms=30 * 60_000))
    kitchen.wait(61)
    assert open_alerts(kitchen)[DUE] == "returned-unacknowledged"
    kitchen.wait(3 * 3600)
    assert open_alerts(kitchen)[DUE] == "unacknowledged"


def test_its_parts_have_the_same_discard_time() -> None:
    kitchen = sliced()
    by_time(kitchen)
    kitchen.wait(1800)
    kitchen.say(PieceSplit("brisket-1", (Piece("one"), Piece("two"))))
    kitchen.wait(3.5 * 3600 + 61)
    assert {"discard-due/one", "discard-due/two"} <= open_alerts(kitchen).keys()
    assert DUE not in open_alerts(kitchen)


@pytest.mark.parametrize(
    ("stage", "why"),
    [
        (None, "only cooked food"), (Stage.SMOKING, "only cooked food"),
        (Stage.REHEATING, "only cooked food"), (Stage.SERVED, "nothing left"),
        (Stage.DISCARDED, "nothing left"),
    ],
)  # fmt: skip
def test_what_cannot_be_held_by_time_is_refused(stage: Stage | None, why: str) -> None:
    kitchen = Kitchen()
    if stage is not None:
        kitchen.stage(Stage.SMOKING)
        kitchen.stage(stage)
    with pytest.raises(PitloggerError, match=why):
        by_time(kitchen)


def test_a_second_time_ahead_or_before_it_was_chilled_is_refused() -> None:
    kitchen = sliced()
    with pytest.raises(PitloggerError, match="future"):
        by_time(kitchen, ago_min=-10)
    by_time(kitchen)
    with pytest.raises(PitloggerError, match="already"):
        by_time(kitchen)
    other = sliced()
    other.wait(600)
    other.stage(Stage.COOLING)
    with pytest.raises(PitloggerError, match="does not go back"):
        by_time(other, ago_min=5)
