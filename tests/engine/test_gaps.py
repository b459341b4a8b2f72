"""A reboot without a clock: the worst is assumed and said, and judged again once it is known."""

import pytest

from pitlogger.engine.gaps import UNKNOWN_GAP_MS, Gap, lived
from pitlogger.engine.restart import begin_run
from pitlogger.engine.snapshot import dump_state, load_state
from pitlogger.engine.step import Engine
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import AlertChanged, ClockSet, StageSet

from .conftest import Kitchen
from .test_rules import ramp, states

MINUTE_MS = 60_000
LATE = "cooling-stage-1-late"


def rebooted() -> Kitchen:
    """Return a kitchen in which the power went while a piece cooled, for nobody knows how long."""
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    ramp(kitchen, 195, 203, 0.2, "brisket-1/core")
    kitchen.stage(Stage.COOLING)
    ramp(kitchen, 203, 135, 0.3, "brisket-1/core")
    ramp(kitchen, 135, 115, 0.5, "brisket-1/core")
    begin_run(kitchen.engine, "r2", kitchen.t_ms, gap_is_known=False)
    kitchen.engine = Engine(kitchen.engine.state, kitchen.engine.policy)
    ramp(kitchen, 110, 108, 0.1, "brisket-1/core")
    return kitchen


def messages(kitchen: Kitchen) -> list[str]:
    return [
        entry.body.message
        for entry in kitchen.entries()
        if isinstance(entry.body, AlertChanged) and entry.body.alert_kind == LATE
    ]


def test_while_it_is_unknown_the_worst_is_assumed_and_said() -> None:
    kitchen = rebooted()
    assert states(kitchen, LATE) == ["unacknowledged"]
    assert "not known how long the power was off" in messages(kitchen)[0]


def test_a_short_gap_takes_the_alarm_back() -> None:
    kitchen = rebooted()
    kitchen.say(ClockSet(10 * MINUTE_MS, gap_ms=10 * MINUTE_MS))
    assert states(kitchen, LATE) == ["unacknowledged", "returned-unacknowledged"]
    assert "judged again, 10 min without power" in messages(kitchen)[-1]
    ramp(kitchen, 108, 100, 0.5, "brisket-1/core")
    assert states(kitchen, LATE)[-1] == "returned-unacknowledged"


def test_the_gap_counts_once_it_is_known() -> None:
    """Half an hour before, ten minutes dark, then as long as is left of two hours."""
    kitchen = rebooted()
    kitchen.say(ClockSet(10 * MINUTE_MS, gap_ms=10 * MINUTE_MS))
    known_ms = kitchen.t_ms
    ramp(kitchen, 108, 90, 2, "brisket-1/core")
    raised = [
        entry.t_ms
        for entry in kitchen.entries()
        if isinstance(entry.body, AlertChanged)
        and entry.body.alert_kind == LATE
        and entry.body.now == "unacknowledged"
        and entry.t_ms > known_ms
    ]
    left_ms = (120 - 30 - 10 - 6) * MINUTE_MS
    assert raised == [pytest.approx(known_ms + left_ms, abs=3 * MINUTE_MS)]


def test_a_long_gap_leaves_the_alarm() -> None:
    kitchen = rebooted()
    kitchen.say(ClockSet(3 * 60 * MINUTE_MS, gap_ms=3 * 60 * MINUTE_MS))
    assert states(kitchen, LATE) == ["unacknowledged"]


def test_a_stage_set_in_the_past_does_not_forget_the_gap() -> None:
    kitchen = rebooted()
    began_ms = kitchen.engine.book.pieces["brisket-1"].stage_since_ms
    kitchen.say(StageSet("brisket-1", Stage.RESTING, began_ms - 5 * MINUTE_MS))
    ramp(kitchen, 108, 107, 0.1, "brisket-1/core")
    assert states(kitchen, LATE) == ["unacknowledged"]


def test_an_unknown_gap_survives_another_start() -> None:
    kitchen = rebooted()
    state = load_state(dump_state(kitchen.engine.state))
    assert state.gaps == [Gap(state.gaps[0].at_ms)]
    kitchen.engine = Engine(state, kitchen.engine.policy)
    kitchen.say(ClockSet(10 * MINUTE_MS, gap_ms=10 * MINUTE_MS))
    assert states(kitchen, LATE)[-1] == "returned-unacknowledged"


def test_a_step_of_the_clock_judges_nothing_again() -> None:
    kitchen = rebooted()
    kitchen.say(ClockSet(10 * MINUTE_MS))
    assert states(kitchen, LATE) == ["unacknowledged"]


def test_what_was_before_a_gap_lies_as_long_ago_as_it_was() -> None:
    gaps = [Gap(100, 50), Gap(200)]
    assert lived(250, gaps) == 250
    assert lived(150, gaps) == 150 - UNKNOWN_GAP_MS
    assert lived(50, gaps) == 50 - 50 - UNKNOWN_GAP_MS
