"""A taken-back entry leaves everything as if it had never been; food that falls is told of."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import asdict
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pitlogger.engine.watch.cores import coldest, valid_cores
from pitlogger.errors import UsageError
from pitlogger.model.alerts import AlertState
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import AlertChanged, Body, Corrected, SpotRead, StageSet, Undone
from pitlogger.model.quantities import milli_c_from_fahrenheit

from .conftest import Kitchen
from .test_rules import minutes, ramp, states


def spot(kitchen: Kitchen, fahrenheit: float, at_ms: int | None = None) -> SpotRead:
    at = kitchen.t_ms if at_ms is None else at_ms
    return SpotRead(milli_c_from_fahrenheit(fahrenheit), at, "brisket-1")


def last_id(kitchen: Kitchen, kind: type) -> tuple[str, int]:
    made = [entry for entry in kitchen.entries() if isinstance(entry.body, kind)]
    return made[-1].run, made[-1].seq


def open_alerts(kitchen: Kitchen) -> dict[str, str]:
    watches = kitchen.engine.state.watches
    return {
        key: watch.state.value
        for key, watch in watches.items()
        if watch.state is not AlertState.NORMAL
    }


def held_hot() -> Kitchen:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 200, 10, "brisket-1/core")
    kitchen.stage(Stage.HOLDING)
    ramp(kitchen, 200, 150, 1, "brisket-1/core")
    return kitchen


def test_a_mistyped_reading_taken_back_wakes_nobody() -> None:
    kitchen = held_hot()
    kitchen.say(spot(kitchen, 12), by="AB")
    kitchen.t_ms += 1000
    kitchen.say(Undone(*last_id(kitchen, SpotRead)), by="AB")
    minutes(kitchen, 150, 5, "brisket-1/core")
    assert "unacknowledged" not in states(kitchen, "hot-hold-low")
    cores = valid_cores(kitchen.engine.state, kitchen.engine.book, "brisket-1", kitchen.t_ms)
    found = coldest(cores)
    assert found is not None
    assert found[0] == milli_c_from_fahrenheit(150)


def test_what_a_reading_raised_returns_by_itself_and_says_why() -> None:
    kitchen = held_hot()
    kitchen.say(spot(kitchen, 12))
    minutes(kitchen, 150, 2, "brisket-1/core")
    assert states(kitchen, "hot-hold-low") == ["unacknowledged"]
    kitchen.say(Undone(*last_id(kitchen, SpotRead)))
    assert "hot-hold-low/brisket-1" not in open_alerts(kitchen)
    changed = [e.body for e in kitchen.entries() if isinstance(e.body, AlertChanged)]
    assert changed[-1].message == "raised on an entry that was taken back"


def test_a_corrected_reading_counts_in_its_place_alone() -> None:
    kitchen = held_hot()
    kitchen.say(spot(kitchen, 15))
    first = last_id(kitchen, SpotRead)
    kitchen.t_ms += 10_000
    kitchen.say(Corrected(*first, spot(kitchen, 151)))
    minutes(kitchen, 150, 5, "brisket-1/core")
    assert "unacknowledged" not in states(kitchen, "hot-hold-low")


def test_no_prompt_stays_on_a_struck_reading() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    kitchen.say(spot(kitchen, 210))
    kitchen.wait(90)
    assert "pull-due/brisket-1" in open_alerts(kitchen)
    kitchen.say(Undone(*last_id(kitchen, SpotRead)))
    assert not {"pull-due/brisket-1", "wrap-due/brisket-1"} & open_alerts(kitchen).keys()


def test_a_breach_that_a_probe_read_stands() -> None:
    kitchen = held_hot()
    ramp(kitchen, 150, 120, 1, "brisket-1/core")
    kitchen.say(spot(kitchen, 110))
    kitchen.say(Undone(*last_id(kitchen, SpotRead)))
    assert open_alerts(kitchen)["hot-hold-low/brisket-1"] == "unacknowledged"


def test_cooked_food_that_falls_is_told_of_though_nothing_was_marked() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    ramp(kitchen, 150, 200, 2, "brisket-1/core")
    ramp(kitchen, 200, 110, 3, "brisket-1/core")
    assert "unacknowledged" in states(kitchen, "hot-hold-low")
    ramp(kitchen, 110, 75, 3, "brisket-1/core")
    assert "unacknowledged" in states(kitchen, "cooling-stage-1-late")


def test_a_dying_fire_under_raw_meat_is_no_holding() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    ramp(kitchen, 40, 125, 3, "brisket-1/core")
    ramp(kitchen, 125, 90, 2, "brisket-1/core")
    assert states(kitchen, "hot-hold-low") == []


def test_nothing_cools_on_the_word_of_the_probe_that_is_left() -> None:
    """The warmest probe dies at 96 F: the stage is late, whatever the other reads."""
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 200, 5, "brisket-1/core")
    minutes(kitchen, 200, 5, "brisket-1/point")
    kitchen.stage(Stage.COOLING)
    for step in range(360):
        kitchen.t_ms += 10_000
        kitchen.read(180 - 0.25 * step, "brisket-1/core")
        kitchen.read(150 - 0.25 * step, "brisket-1/point")
    ramp(kitchen, 60, 40, 2, "brisket-1/point")
    assert "unacknowledged" in states(kitchen, "cooling-stage-1-late")


# Hand readings that raise nothing: which of two that do raised it first is another matter.
Action = tuple[str, float]
ACTIONS = st.lists(
    st.one_of(
        st.tuples(st.just("minutes"), st.integers(1, 30).map(float)),
        st.tuples(st.just("spot"), st.sampled_from([150.0, 155.0, 166.0])),
        st.tuples(st.just("stage"), st.integers(0, 3).map(float)),
    ),
    max_size=6,
)
STAGES = (Stage.SMOKING, Stage.RESTING, Stage.HOLDING, Stage.SERVING)


def act(kitchen: Kitchen, actions: list[Action], start_f: float) -> float:
    level = start_f
    for what, value in actions:
        if what == "minutes":
            ramp(kitchen, level, level - 0.3 * value, value / 60, "brisket-1/core")
            level -= 0.3 * value
        elif what == "spot":
            kitchen.say(spot(kitchen, value))
        else:
            with suppress(UsageError):  # out of order: refused
                kitchen.stage(STAGES[int(value)])
    return level


def standing(kitchen: Kitchen) -> dict[str, Any]:
    engine = kitchen.engine
    clocks = engine.state.clocks["brisket-1"]
    return {
        "open": open_alerts(kitchen),
        "limits": {limit.key: (limit.limit, limit.side) for limit in engine.compiled.limits()},
        "clocks": {
            told.kind: (told.is_true, told.remaining_s)
            for told in clocks.told(kitchen.t_ms, engine.safety)
        },
        "hold": asdict(clocks.hold),
        "foreseen": engine.state.foreseen,
        "spot": (held := engine.state.channels.get("brisket-1/spot")) and held.value,
    }


@settings(max_examples=20, suppress_health_check=[HealthCheck.too_slow])
@given(ACTIONS, st.sampled_from([12.0, 128.0, 152.0, 210.0]), st.integers(0, 20))
def test_an_entry_and_its_undo_are_as_if_neither_had_been(
    actions: list[Action], wrong_f: float, later_min: int
) -> None:
    with_it, without = Kitchen(), Kitchen()
    for kitchen in (with_it, without):
        kitchen.stage(Stage.SMOKING)
        minutes(kitchen, 200, 5, "brisket-1/core")
    levels = [act(kitchen, actions, 200.0) for kitchen in (with_it, without)]
    wrong: Body = spot(with_it, wrong_f)
    with_it.say(wrong)
    of = last_id(with_it, SpotRead)
    for kitchen, level in zip((with_it, without), levels, strict=True):
        if later_min:
            minutes(kitchen, level, later_min, "brisket-1/core")
    with_it.say(Undone(*of))
    for kitchen, level in zip((with_it, without), levels, strict=True):
        minutes(kitchen, level, 2, "brisket-1/core")
    assert standing(with_it) == standing(without), (actions, wrong_f, later_min)


def test_a_mark_and_its_undo_raise_nothing() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    ramp(kitchen, 60, 110, 2, "brisket-1/core")
    kitchen.say(StageSet("brisket-1", Stage.RESTING, kitchen.t_ms))
    minutes(kitchen, 110, 3, "brisket-1/core")
    assert "hot-hold-low/brisket-1" in open_alerts(kitchen)
    kitchen.say(Undone(*last_id(kitchen, StageSet)))
    assert "hot-hold-low/brisket-1" not in open_alerts(kitchen)
