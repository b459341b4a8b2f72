"""Probes that lie: stuck, swapped, moved, out of the meat, drifting; and those that do not."""

import random

import pytest

from pitlogger.engine.restart import catch_up
from pitlogger.engine.snapshot import dump_state, load_state
from pitlogger.engine.step import Engine
from pitlogger.model.cooks import Channel, Stage
from pitlogger.model.journal import (
    AlertActed,
    AlertChanged,
    ChannelDoubted,
    CheckMade,
    ProbeMoved,
    SpotRead,
    Weighed,
)
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality, Reading, Site
from pitlogger.safety.instruments.belief import rate_mc_per_min

from .conftest import COOK, START_MS, Kitchen

TWO = """
[cook]
name = "two"
[[piece]]
id = "one"
cut = "brisket-packer"
[[piece]]
id = "two"
cut = "brisket-packer"
[[channel]]
id = "one/core"
site = "core"
piece = "one"
[[channel]]
id = "two/core"
site = "core"
piece = "two"
[[channel]]
id = "pit"
site = "pit"
"""


def told(kitchen: Kitchen) -> list[str]:
    """Return the messages of the probe faults raised."""
    return [
        entry.body.message
        for entry in kitchen.entries()
        if isinstance(entry.body, AlertChanged)
        and entry.body.alert_kind == "probe-fault"
        and entry.body.now == "unacknowledged"
    ]


def run(
    kitchen: Kitchen, minutes: float, noise_c: float = 0.06, /, **rates: tuple[float, float]
) -> None:
    """Read channels every 5 s: level in C and rise in C an hour, by name with _ for /."""
    noise = random.Random(3)
    for step in range(round(minutes * 12)):
        kitchen.t_ms += 5000
        for name, (level, rise) in rates.items():
            value = level + rise * step / 720 + noise.gauss(0, noise_c)
            kitchen.feed(Reading(name.replace("_", "/"), kitchen.t_ms, round(value * 10) * 100))


def on_the_pit(cook: str = TWO) -> Kitchen:
    kitchen = Kitchen(cook)
    for piece in kitchen.engine.book.pieces:
        kitchen.stage(Stage.SMOKING, piece)
    return kitchen


def test_two_probes_that_change_places_are_told_once_and_not_judged() -> None:
    kitchen = on_the_pit()
    run(kitchen, 40, one_core=(70, 5), two_core=(88, 5), pit=(115, 0))
    run(kitchen, 6, one_core=(91.5, 5), two_core=(73.5, 5), pit=(115, 0))
    words = "one: one/core and two/core were swapped: each reads what the other read"
    assert told(kitchen) == [words]
    run(kitchen, 30, one_core=(97, 5), two_core=(79, 5), pit=(115, 0))
    assert kitchen.alerts("pull-due") == [], "it is not known whose core that is"


def test_two_swapped_probes_are_judged_again_once_somebody_says_so() -> None:
    kitchen = on_the_pit()
    run(kitchen, 40, one_core=(70, 5), two_core=(88, 5), pit=(115, 0))
    run(kitchen, 6, one_core=(91.5, 5), two_core=(73.5, 5), pit=(115, 0))
    kitchen.say(ProbeMoved("one/core"))
    kitchen.say(ProbeMoved("two/core"))
    run(kitchen, 10, one_core=(97, 5), two_core=(79, 5), pit=(115, 0))
    assert kitchen.alerts("pull-due")[0][1] == "unacknowledged"
    assert len(told(kitchen)) == 1


def test_having_seen_it_lets_swapped_probes_be_judged_again() -> None:
    kitchen = on_the_pit()
    run(kitchen, 40, one_core=(70, 5), two_core=(88, 5), pit=(115, 0))
    run(kitchen, 6, one_core=(91.5, 5), two_core=(73.5, 5), pit=(115, 0))
    kitchen.say(AlertActed("probe-fault/one/core", "acknowledge"))
    run(kitchen, 10, one_core=(97, 5), two_core=(79, 5), pit=(115, 0))
    assert kitchen.alerts("pull-due")[0][1] == "unacknowledged"


def test_a_pit_that_reads_like_meat_and_a_core_like_a_pit_are_swapped() -> None:
    kitchen = on_the_pit()
    run(kitchen, 9, one_core=(112, 0), two_core=(20, 5), pit=(15, 10))
    assert len(told(kitchen)) == 1
    assert "one/core and pit look swapped" in told(kitchen)[0]


def test_a_core_over_the_boiling_point_is_out_of_the_meat() -> None:
    kitchen = on_the_pit()
    run(kitchen, 9, one_core=(110, 0), two_core=(20, 5), pit=(112, 0))
    assert told(kitchen) == ["one: one/core reads 230 F: it is out of the meat"]
    assert kitchen.alerts("pull-due") == [], "air is no core"
    run(kitchen, 9, one_core=(22, 5), two_core=(25, 5), pit=(112, 0))
    assert kitchen.alerts("probe-fault")[-1][1] == "returned-unacknowledged"


def test_a_probe_that_jumps_with_nobody_at_the_meat_was_moved() -> None:
    kitchen = on_the_pit()
    run(kitchen, 40, one_core=(60, 5), two_core=(60, 5), pit=(115, 0))
    run(kitchen, 9, one_core=(72, 5), two_core=(63.5, 5), pit=(115, 0))
    assert len(told(kitchen)) == 1
    assert told(kitchen)[0].startswith("one: one/core was moved: it jumped from 146 F to 162")


@pytest.mark.parametrize(
    ("minutes", "over_c_per_min", "is_moved"),
    [(8, 1.5, True), (9, 0.6, False), (30, 0.6, False)],
    ids=["soon too far", "not yet", "what was longer ago is forgotten"],
)
def test_a_core_is_held_against_what_it_read_in_the_last_ten_minutes(
    minutes: int, over_c_per_min: float, is_moved: bool
) -> None:
    kitchen = on_the_pit()
    can_c_per_min = rate_mc_per_min("brisket", None) / 1000
    run(kitchen, minutes, 0, one_core=(30, 60 * (can_c_per_min + over_c_per_min)))
    assert (kitchen.engine.state.channels["one/core"].jumped is not None) is is_moved


def test_a_core_after_a_long_silence_is_held_against_what_it_read_last() -> None:
    kitchen = on_the_pit()
    run(kitchen, 5, 0, one_core=(45, 5))
    kitchen.t_ms += 12 * 60_000
    run(kitchen, 2, 0, one_core=(90, 5))
    assert kitchen.engine.state.channels["one/core"].jumped is not None


@pytest.mark.parametrize(("hand_c", "is_believed"), [(88.0, True), (96.5, False), (83.0, False)])
def test_a_core_that_jumped_is_believed_on_a_hand_reading_that_agrees(
    hand_c: float, is_believed: bool
) -> None:
    kitchen = on_the_pit()
    run(kitchen, 5, 0, one_core=(45, 5))
    run(kitchen, 2, 0, one_core=(90, 5))
    core = kitchen.engine.state.channels["one/core"]
    assert core.jumped is not None
    kitchen.say(SpotRead(round(hand_c * 1000), kitchen.t_ms, "one"))
    run(kitchen, 1, 0, one_core=(90, 5))
    assert (core.jumped is None) is is_believed


def test_a_probe_put_back_at_a_weighing_is_no_surprise() -> None:
    kitchen = on_the_pit()
    run(kitchen, 40, one_core=(60, 5), two_core=(60, 5), pit=(115, 0))
    kitchen.say(Weighed("one", "at-wrap", 4_000_000, 0, kitchen.t_ms))
    run(kitchen, 40, one_core=(72, 5), two_core=(63.5, 5), pit=(115, 0))
    assert told(kitchen) == []


def test_a_core_that_falls_beside_one_that_rises_drifts() -> None:
    kitchen = on_the_pit(COOK)
    run(kitchen, 100, **{"brisket-1_core": (65, 6), "brisket-1_point": (62, -5), "pit": (115, 0)})
    assert len(told(kitchen)) == 1
    assert "brisket-1/point drifts" in told(kitchen)[0]


def test_a_stuck_probe_is_told_marked_and_not_judged_until_it_moves() -> None:
    kitchen = on_the_pit()
    run(kitchen, 60, one_core=(60, 15), two_core=(60, 15), pit=(115, 0))
    for step in range(14 * 12):
        kitchen.t_ms += 5000
        kitchen.feed(Reading("one/core", kitchen.t_ms, 75_200))
        kitchen.feed(Reading("two/core", kitchen.t_ms, 76_000 + step % 2 * 100))
    assert told(kitchen) == ["one: one/core is stuck: exactly 167 F for 13 min"]
    assert kitchen.tagged()[-2].quality is Quality.STUCK
    assert not kitchen.engine.state.channels["one/core"].valid()
    run(kitchen, 2, one_core=(79, 15))
    assert kitchen.engine.state.channels["one/core"].valid()
    assert len(told(kitchen)) == 1


def test_a_quiet_probe_that_stands_while_the_other_of_its_piece_falls_is_stuck() -> None:
    kitchen = on_the_pit(COOK)
    run(kitchen, 60, 0, **{"brisket-1_core": (80, 6), "brisket-1_point": (85, 6), "pit": (115, 0)})
    kitchen.stage(Stage.HOLDING)
    run(kitchen, 80, 0, **{"brisket-1_core": (86, 0), "brisket-1_point": (91, -7)})
    assert told(kitchen) == []
    run(kitchen, 12, 0, **{"brisket-1_core": (86, 0), "brisket-1_point": (81.7, -7)})
    assert ["is stuck" in one for one in told(kitchen)] == [True]
    (begun,) = [one.body for one in kitchen.entries() if isinstance(one.body, ChannelDoubted)]
    assert begun.reason == "stuck"
    assert begun.from_ms <= kitchen.t_ms - 90 * 60_000, "all of it is doubted"


def test_two_quiet_probes_in_a_warm_box_may_stand_still() -> None:
    kitchen = on_the_pit(COOK)
    run(kitchen, 60, 0, **{"brisket-1_core": (80, 6), "brisket-1_point": (85, 6), "pit": (115, 0)})
    kitchen.stage(Stage.HOLDING)
    run(kitchen, 200, 0, **{"brisket-1_core": (86, 0), "brisket-1_point": (91, -0.5)})
    assert told(kitchen) == []


def test_doubts_survive_a_restart() -> None:
    kitchen = on_the_pit()
    run(kitchen, 40, one_core=(70, 5), two_core=(88, 5), pit=(115, 0))
    state = load_state(dump_state(kitchen.engine.state))
    since_ms = kitchen.t_ms
    run(kitchen, 6, one_core=(91.5, 5), two_core=(73.5, 5), pit=(115, 0))
    readings = [Reading(t.channel, t.t_ms, t.raw) for t in kitchen.tagged() if t.t_ms > since_ms]
    resumed = Engine(state, kitchen.engine.policy)
    later = [entry for entry in kitchen.entries() if entry.t_ms > since_ms]
    assert catch_up(resumed, later, readings) == []
    assert resumed.state.channels == kitchen.engine.state.channels
    assert resumed.state.channels["two/core"].doubt == "swapped"


def test_a_short_limit_of_silence_is_kept_the_first_time_too() -> None:
    quick = Channel("pit", Site.PIT, None, Quantity.TEMPERATURE, stale_after_ms=4_000)
    kitchen = Kitchen(channels=(quick,))
    kitchen.stage(Stage.SMOKING)
    kitchen.hold(238, 2, "pit")
    heard_s = (kitchen.t_ms - START_MS) // 1000
    kitchen.wait(20)
    raised = [at for at, state in kitchen.alerts("channel-stale") if state == "unacknowledged"]
    assert raised == [heard_s + 5]


def test_a_limit_of_silence_made_shorter_counts_from_then() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    kitchen.hold(238, 2, "pit")
    kitchen.engine._known["pit"] = Channel("pit", Site.PIT, stale_after_ms=4_000)
    kitchen.stage(Stage.WRAPPED)
    kitchen.wait(10)
    assert kitchen.alerts("channel-stale")[0][1] == "unacknowledged"


def test_a_probe_that_failed_its_check_is_in_doubt_until_a_good_one() -> None:
    kitchen = on_the_pit()
    run(kitchen, 5, one_core=(60, 5), two_core=(60, 5), pit=(115, 0))
    kitchen.say(CheckMade("one/core", "ice", 2_500, 1_111, within=False))
    run(kitchen, 40, one_core=(61, 5), two_core=(61, 5), pit=(115, 0))
    assert told(kitchen) == ["one: one/core failed its ice check: 2.5 C off, tolerance 1.1 C"]
    assert kitchen.engine.state.channels["one/core"].valid(), "it still is better than nothing"
    kitchen.say(CheckMade("one/core", "ice", 200, 1_111, within=True))
    run(kitchen, 2, one_core=(64, 5), two_core=(64, 5), pit=(115, 0))
    assert kitchen.alerts("probe-fault")[-1][1] == "returned-unacknowledged"


@pytest.mark.parametrize("ill", ["stuck", "open and good", "silent and back"])
def test_a_bad_probe_keeps_no_alarm_of_the_core_beside_it_from_ringing(ill: str) -> None:
    """Its own delay would begin anew with each of its readings, for as long as it is bad."""
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    value = 60.0
    for step in range(1400):
        kitchen.wait(10)
        value = min(value + 0.05, 150.0)
        kitchen.read(value + 0.3 * (step % 3))
        kitchen.read(
            49.0 if ill == "stuck" and step > 300 else value + 0.3 * (step % 2), "brisket-1/point"
        )
    kitchen.stage(Stage.HOLDING)
    for step in range(120):
        kitchen.wait(10)
        kitchen.read(122 + 0.3 * (step % 3))
        if ill == "stuck":
            kitchen.read(49.0, "brisket-1/point")
        elif ill == "open and good" and step % 3 == 0:
            kitchen.bad(Quality.OPEN, "brisket-1/point")
        elif ill == "open and good":
            kitchen.read(123.0, "brisket-1/point")
    assert [state for _, state in kitchen.alerts("hot-hold-low")] == ["unacknowledged"]


@pytest.mark.parametrize("every", [1, 2, 3, 6, 9])
def test_wet_plugs_that_go_on_and_off_keep_no_alarm_from_ringing(every: int) -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.HOLDING)
    for step in range(180):
        kitchen.wait(10)
        for channel in ("brisket-1/core", "brisket-1/point"):
            if step // every % 2:
                kitchen.bad(Quality.OPEN, channel)
            else:
                kitchen.read(122 + 0.2 * (step % 3), channel)
    assert [state for _, state in kitchen.alerts("hot-hold-low")] == ["unacknowledged"]


def test_a_probe_that_is_pulled_out_and_falls_below_a_limit_rings_nothing_of_the_meat() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.HOLDING)
    kitchen.hold(150, 600)
    for fahrenheit in (140, 130, 120):
        kitchen.hold(fahrenheit, 8)
    for _ in range(300):
        kitchen.wait(1)
        kitchen.bad(Quality.OPEN)
    assert kitchen.alerts("hot-hold-low") == []


def test_silence_of_a_probe_that_began_slowly_is_told_by_how_often_it_came_since() -> None:
    kitchen = Kitchen()
    kitchen.read(169.3)
    kitchen.wait(92)
    kitchen.hold(169.3, 91)  # three times the interval of the beginning would be minutes
    heard_s = 92 + 91
    kitchen.wait(60)
    raised = [at for at, state in kitchen.alerts("channel-stale") if state == "unacknowledged"]
    assert raised == [heard_s + 16]
