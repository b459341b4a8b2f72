"""What holds of the engine whatever comes in whatever order: readings, commands, restarts."""

from __future__ import annotations

from contextlib import suppress

from hypothesis import given, settings
from hypothesis import strategies as st

from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.snapshot import dump_state, load_state
from pitlogger.engine.step import Engine
from pitlogger.errors import RefusedError, UsageError
from pitlogger.model.alerts import AlertState
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import AlertActed
from pitlogger.model.readings import Quality

from .conftest import COOK, Kitchen

BAND = COOK.replace('id = "pit"\n', 'id = "pit"\nset_point = "238F"\nlow = "210F"\nhigh = "290F"\n')
CHANNELS = ("brisket-1/core", "brisket-1/point", "pit")
STAGES = (Stage.SMOKING, Stage.WRAPPED, Stage.RESTING, Stage.HOLDING, Stage.SERVING, Stage.COOLING)
# True conditions rest in one of these, false ones in one of those; see rules/machine.py.
WHILE_TRUE = {AlertState.UNACKNOWLEDGED, AlertState.ACKNOWLEDGED, AlertState.SHELVED}
WHILE_FALSE = set(AlertState) - {AlertState.UNACKNOWLEDGED, AlertState.ACKNOWLEDGED}

fahrenheit = st.one_of(
    st.sampled_from([70, 134, 135, 136, 139, 141, 165, 166, 203, 204, 205, 238, 295]),
    st.floats(30, 300).map(lambda value: round(value, 1)),
)
readings = st.tuples(st.just("read"), st.sampled_from(CHANNELS), fahrenheit, st.integers(1, 120))
faults = st.tuples(
    st.just("bad"), st.sampled_from(CHANNELS), st.sampled_from([Quality.OPEN, Quality.FAULT])
)
silence = st.tuples(st.just("wait"), st.integers(1, 5000))
stages = st.tuples(st.just("stage"), st.sampled_from(STAGES))
hands = st.tuples(
    st.just("act"),
    st.integers(0, 9),
    st.sampled_from(["acknowledge", "shelve", "unshelve", "reset"]),
)
things = st.lists(st.one_of(readings, readings, faults, silence, stages, hands), max_size=40)


def do(kitchen: Kitchen, what: tuple[object, ...]) -> None:
    """Do one thing; what is refused changes nothing."""
    match what:
        case ("read", str(channel), float() | int() as value, int(seconds)):
            kitchen.hold(float(value), seconds, channel)
        case ("bad", str(channel), Quality() as quality):
            kitchen.bad(quality, channel)
        case ("wait", int(seconds)):
            kitchen.wait(seconds)
        case ("stage", Stage() as stage):
            with suppress(UsageError, RefusedError):
                kitchen.stage(stage)
        case ("act", int(number), str(action)):
            keys = sorted(kitchen.engine.state.watches)
            if keys:
                until_ms = kitchen.t_ms + 600_000 if action == "shelve" else None
                body = AlertActed(keys[number % len(keys)], action, until_ms, "tested")  # type: ignore[arg-type]
                with suppress(UsageError, RefusedError):
                    kitchen.say(body, "AB")


def restart(kitchen: Kitchen) -> None:
    """Let the process die and go on from its state."""
    state = load_state(dump_state(kitchen.engine.state))
    kitchen.engine = Engine(state, load_policy())


@settings(max_examples=60)
@given(things, st.integers(0, 40))
def test_a_restart_anywhere_changes_nothing(what: list[tuple[object, ...]], at: int) -> None:
    whole, cut = Kitchen(BAND), Kitchen(BAND)
    for number, one in enumerate(what):
        do(whole, one)
        if number == at:
            restart(cut)
        do(cut, one)
    for kitchen in (whole, cut):
        kitchen.wait(3600)
    assert cut.alerts() == whole.alerts()
    assert cut.entries() == whole.entries()


@settings(max_examples=60)
@given(things)
def test_a_condition_that_holds_is_never_at_rest(what: list[tuple[object, ...]]) -> None:
    kitchen = Kitchen(BAND)
    for one in what:
        do(kitchen, one)
        for watch in kitchen.engine.state.watches.values():
            if not watch.settled:
                assert watch.state in (WHILE_TRUE if watch.holds else WHILE_FALSE), watch.key


@settings(max_examples=60)
@given(things)
def test_each_state_that_is_entered_is_journalled_once_and_follows_the_one_before(
    what: list[tuple[object, ...]],
) -> None:
    kitchen = Kitchen(BAND)
    for one in what:
        do(kitchen, one)
    known: dict[str, AlertState] = {}
    for entry in kitchen.entries():
        body = entry.body
        if body.kind == "alert-changed":
            assert body.was == known.get(body.alert, AlertState.NORMAL)
            assert body.now != body.was or body.now is AlertState.UNACKNOWLEDGED
            known[body.alert] = body.now
    for key, watch in kitchen.engine.state.watches.items():
        assert watch.state == known.get(key, AlertState.NORMAL)


@settings(max_examples=60)
@given(st.lists(st.tuples(st.floats(120, 150), st.integers(1, 90)), max_size=12))
def test_hot_food_that_stays_cold_for_a_minute_is_told(spells: list[tuple[float, int]]) -> None:
    """An independent watch: a level beyond the limit throughout 60 s must have raised the alarm."""
    kitchen = Kitchen()
    kitchen.hold(150, 30)
    kitchen.stage(Stage.HOLDING)
    cold_s = 0
    for value, seconds in spells:
        for _ in range(seconds):
            kitchen.hold(value, 1)
            cold_s = cold_s + 1 if value < 134.9 else 0
            if cold_s > 61:
                assert kitchen.engine.state.watches["hot-hold-low/brisket-1"].holds
