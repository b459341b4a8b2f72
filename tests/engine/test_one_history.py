"""Live clocks show no more than the verdict over the record: hand readings join alike in both."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pitlogger.model.cooks import Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import AlertChanged, SpotRead, Undone
from pitlogger.model.quantities import milli_c_from_fahrenheit
from pitlogger.model.readings import Reading, Tagged
from pitlogger.safety.judge import judge
from pitlogger.safety.lethality import Lethality
from pitlogger.safety.policy import shipped_policy
from pitlogger.safety.recorded import histories

from .conftest import Kitchen

CORE, POINT = "brisket-1/core", "brisket-1/point"


def by_hand(kitchen: Kitchen, fahrenheit: float) -> None:
    kitchen.say(SpotRead(milli_c_from_fahrenheit(fahrenheit), kitchen.t_ms, "brisket-1"), by="AB")


def read(kitchen: Kitchen, minutes: int, core: float | None, point: float | None = None) -> None:
    """Let time pass with a reading of each probe every ten seconds, none of one that is silent."""
    for _ in range(minutes * 6):
        kitchen.wait(10)
        if core is not None:
            kitchen.read(core, CORE)
        if point is not None:
            kitchen.read(point, POINT)


def live_met(kitchen: Kitchen) -> bool:
    return kitchen.engine.state.clocks["brisket-1"].lethality.met_ms is not None


def judged(kitchen: Kitchen) -> Lethality:
    readings = [Reading(t.channel, t.t_ms, t.raw) for t in kitchen.out if isinstance(t, Tagged)]
    history = histories(fold(kitchen.entries()), readings)[0]
    return judge(history, shipped_policy("retail-food-code")).lethality


def record_met(kitchen: Kitchen) -> bool | None:
    return judged(kitchen).verdict.met


def test_one_hand_reading_stands_for_no_minutes_of_a_silent_probe() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    read(kitchen, 10, 100, 101)
    for step in range(1, 60):
        read(kitchen, 1, 100 + step, None)
    by_hand(kitchen, 150)
    read(kitchen, 9, 159, None)
    assert record_met(kitchen) is None
    assert not live_met(kitchen)


def test_two_hand_readings_that_meat_cannot_go_between_join_in_neither() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    by_hand(kitchen, 41)
    kitchen.wait(120)
    by_hand(kitchen, 160)
    assert record_met(kitchen) is not True
    assert not live_met(kitchen)


def test_hand_readings_close_together_show_a_limit_in_both() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    for value in (148, 150, 152, 154):
        by_hand(kitchen, value)
        kitchen.wait(180)
    assert record_met(kitchen) is True
    assert live_met(kitchen)


@settings(
    max_examples=25, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)  # fmt: skip
@given(
    st.lists(
        st.tuples(
            st.integers(1, 14),
            st.sampled_from(["both", "one", "none"]),
            st.sampled_from([None, 95, 130, 140, 146, 152, 159]),
        ),
        min_size=3,
        max_size=9,
    )
)
def test_live_shows_nothing_that_the_record_does_not(
    parts: list[tuple[int, str, int | None]],
) -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    value = 90.0
    for minutes, heard, hand in parts:
        for _ in range(minutes):
            value = min(value + 2.5, 152)
            core = None if heard == "none" else value
            read(kitchen, 1, core, value + 2 if heard == "both" else None)
        if hand is not None:
            kitchen.wait(1)
            by_hand(kitchen, hand)
        read(kitchen, 1, value if heard != "none" else None)
    if live_met(kitchen):
        over = judged(kitchen)
        assert over.had_s is not None
        assert over.row is not None
        # Live clocks run anew over levels kept once a minute, the verdict over each reading.
        assert over.verdict.met or over.had_s >= over.row.seconds - 60


def test_a_hand_reading_far_from_its_probe_takes_its_credit_until_one_agrees() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    for step in range(40):
        read(kitchen, 1, 100 + step)
    by_hand(kitchen, 95)
    read(kitchen, 25, 150)
    assert record_met(kitchen) is None
    assert not live_met(kitchen)
    kitchen.wait(1)
    by_hand(kitchen, 150)
    read(kitchen, 15, 152)
    assert record_met(kitchen) is True
    assert live_met(kitchen)


def test_the_hand_reading_taken_back_gives_the_credit_back() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    for step in range(40):
        read(kitchen, 1, 100 + step)
    by_hand(kitchen, 95)
    made = [entry for entry in kitchen.entries() if isinstance(entry.body, SpotRead)][-1]
    kitchen.wait(5)
    kitchen.say(Undone(made.run, made.seq), by="AB")
    read(kitchen, 25, 150)
    assert live_met(kitchen)


def _one_of_two_falls_silent(kitchen: Kitchen, at: float, top: float) -> None:
    """Heat both from 60 F; the point dies at ``at``, the core goes on to ``top``."""
    kitchen.stage(Stage.SMOKING)
    value = 60.0
    while value < top:
        read(kitchen, 2, value, value if value < at else None)
        value += 1.0


def test_meat_that_falls_with_one_probe_dead_rings_though_cooking_is_not_shown() -> None:
    kitchen = Kitchen()
    _one_of_two_falls_silent(kitchen, 70, 165)
    for value in range(165, 120, -1):
        read(kitchen, 2, value, None)
    assert [state for _, state in kitchen.alerts("hot-hold-low")] == ["unacknowledged"]
    said = [
        entry.body.message
        for entry in kitchen.entries()
        if isinstance(entry.body, AlertChanged) and entry.body.alert_kind == "hot-hold-low"
    ]
    assert "perhaps cooked, and marked as on the pit" in said[0]


def test_a_rise_through_the_limit_and_a_dead_probe_that_comes_back_ring_nothing() -> None:
    kitchen = Kitchen()
    _one_of_two_falls_silent(kitchen, 70, 135)
    for step in range(30):
        read(kitchen, 2, 135.0 + (step % 3 - 1) * 0.8, None)
    for value in range(136, 150):
        read(kitchen, 3, value, None)
    for value in range(120, 128):
        read(kitchen, 3, 150, value)
    assert kitchen.alerts("hot-hold-low") == []
