"""A cook that is entered late: live clocks count from when things happened, not from typing."""

from __future__ import annotations

from pitlogger.model.cooks import Stage
from pitlogger.model.journal import SpotRead, StageSet, Undone
from pitlogger.model.quantities import milli_c_from_fahrenheit

from .conftest import START_MS, Kitchen
from .test_rules import states
from .test_taken_back import last_id, open_alerts

HOUR_MS = 3_600_000
HAND_ONLY = '[cook]\nname = "late"\n[[piece]]\nid = "brisket-1"\ncut = "brisket-packer"\n'


def late(now_h: float, *said: tuple[float, Stage | float]) -> Kitchen:
    """Return a kitchen at ``now_h`` hours told stages and hand readings (F) by their hour."""
    kitchen = Kitchen(HAND_ONLY)
    kitchen.wait(now_h * 3600)
    for hour, what in said:
        at_ms = START_MS + round(hour * HOUR_MS)
        if isinstance(what, Stage):
            kitchen.say(StageSet("brisket-1", what, at_ms))
        else:
            kitchen.say(SpotRead(milli_c_from_fahrenheit(what), at_ms, "brisket-1"))
        kitchen.t_ms += 3000
    return kitchen


COOKED = ((0.2, Stage.SMOKING), (9.0, 203.0), (9.1, Stage.RESTING))


def test_cooling_that_ended_late_is_told_within_a_minute_of_typing() -> None:
    kitchen = late(14, *COOKED, (9.5, Stage.COOLING), (9.6, 140.0), (9.7, 130.0))
    kitchen.wait(61)
    assert states(kitchen, "cooling-stage-1-late") == ["unacknowledged"]


def test_cooling_that_runs_counts_from_the_hour_it_happened() -> None:
    kitchen = late(11, *COOKED, (9.5, Stage.COOLING), (9.6, 140.0), (9.7, 130.0))
    kitchen.wait(61)
    assert states(kitchen, "cooling-stage-1-late") == []
    kitchen.wait(45 * 60)
    assert states(kitchen, "cooling-stage-1-late") == ["unacknowledged"]


def test_the_order_of_typing_changes_nothing() -> None:
    said = (*COOKED, (9.5, Stage.COOLING), (9.6, 140.0), (9.7, 130.0))
    forth, back = late(14, *said), late(14, *reversed(said))
    for kitchen in (forth, back):
        kitchen.wait(61)
    assert open_alerts(forth) == open_alerts(back)
    clocks = [k.engine.state.clocks["brisket-1"].cooling for k in (forth, back)]
    assert clocks[0] == clocks[1]


def test_a_breach_of_holding_in_the_past_is_told_and_returns_when_taken_back() -> None:
    kitchen = late(14, *COOKED, (9.5, Stage.HOLDING), (10.0, 150.0), (11.0, 110.0), (11.5, 160.0))
    assert states(kitchen, "hot-hold-low") == ["unacknowledged"]
    assert "coldest core at 110 F" in kitchen.engine.state.watches["hot-hold-low/brisket-1"].message
    kitchen = late(14, *COOKED, (9.5, Stage.HOLDING), (10.0, 150.0), (11.0, 110.0))
    kitchen.say(Undone(*last_id(kitchen, SpotRead)))
    assert "hot-hold-low/brisket-1" not in open_alerts(kitchen)


def test_a_breach_is_told_too_where_the_stage_was_typed_last() -> None:
    kitchen = late(14, (11.0, 110.0), (9.0, 203.0), (0.2, Stage.SMOKING), (9.1, Stage.HOLDING))
    assert states(kitchen, "hot-hold-low") == ["unacknowledged"]


def test_an_old_reading_typed_now_does_not_stand_for_how_it_is() -> None:
    kitchen = late(14, *COOKED, (9.5, Stage.HOLDING), (14.0, 160.0), (10.0, 150.0))
    spot = kitchen.engine.state.channels["brisket-1/spot"]
    assert spot.value == milli_c_from_fahrenheit(160)


def test_a_reading_of_a_cook_without_marks_raises_nothing() -> None:
    kitchen = late(14, (9.0, 110.0), (9.5, 40.0))
    kitchen.wait(61)
    assert open_alerts(kitchen) == {}


def test_rest_counts_from_the_hour_it_was_taken_off() -> None:
    kitchen = late(14, *COOKED)
    kitchen.wait(61)
    assert states(kitchen, "rest-done") == ["unacknowledged"]
