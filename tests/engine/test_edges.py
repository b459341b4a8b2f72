"""Edges of the rules that a small slip in the code would move."""

from __future__ import annotations

from dataclasses import replace

from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import AlertActed, AlertChanged, CookStarted, TargetSet
from pitlogger.model.quantities import milli_c_from_fahrenheit

from .conftest import COOK, Kitchen
from .test_rules import BAND, minutes, states

HOUR_MS = 3_600_000


def test_a_pit_over_its_band_before_it_was_ever_in_it_is_not_told_for_ninety_minutes() -> None:
    kitchen = Kitchen(BAND)
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 300, 85, "pit")
    assert states(kitchen, "pit-high") == []
    minutes(kitchen, 300, 15, "pit")
    assert states(kitchen, "pit-high") == ["unacknowledged"]


def test_a_pit_within_its_band_once_is_watched_from_then_on() -> None:
    kitchen = Kitchen(BAND)
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 300, 10, "pit")
    minutes(kitchen, 289, 1, "pit")
    minutes(kitchen, 300, 8, "pit")
    assert states(kitchen, "pit-high") == ["unacknowledged"]


def test_no_band_is_so_low_that_an_ordinary_fire_flares_up() -> None:
    kitchen = Kitchen(BAND.replace('high = "290F"', 'high = "220F"'))
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 215, 2, "pit")
    for step in range(215, 350, 2):
        minutes(kitchen, step, 1, "pit")
    assert states(kitchen, "flare-up") == []
    minutes(kitchen, 351, 3, "pit")
    assert states(kitchen, "flare-up") == ["unacknowledged"]


def test_a_flare_up_is_forty_degrees_over_the_band() -> None:
    kitchen = Kitchen(BAND)
    kitchen.stage(Stage.SMOKING)
    for step in range(238, 361, 2):
        minutes(kitchen, step, 1, "pit")
    assert states(kitchen, "flare-up") == []
    minutes(kitchen, 363, 3, "pit")
    assert states(kitchen, "flare-up") == ["unacknowledged"]


def test_a_tender_check_that_would_come_after_the_pull_is_not_asked() -> None:
    check_mc = load_policy().cuts["brisket-packer"].tender_check_mc
    assert check_mc is not None
    below = COOK.replace('pull_at = "203F"', 'pull_at = "180F"')
    assert check_mc > milli_c_from_fahrenheit(180)
    kitchen = Kitchen(below)
    kitchen.stage(Stage.SMOKING)
    for fahrenheit in range(177, 212, 2):  # no faster than meat
        kitchen.hold(fahrenheit, 60)
    assert states(kitchen, "tender-check-due") == []
    assert states(kitchen, "pull-due") == ["unacknowledged"]


def test_nothing_is_shelved_for_longer_than_its_rule_allows(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    kitchen.hold(170, 40)
    key = "wrap-due/brisket-1"
    longest_ms = kitchen.engine.policy.rules["wrap-due"].shelf_max_ms
    until_ms = kitchen.t_ms + longest_ms + HOUR_MS
    kitchen.say(AlertActed(key, "shelve", until_ms, "later"), "AB")
    watch = kitchen.engine.state.watches[key]
    assert watch.until_ms == kitchen.t_ms + longest_ms


def test_a_jump_seen_twice_is_the_level_at_once(kitchen: Kitchen) -> None:
    kitchen.stage(Stage.SMOKING)
    kitchen.hold(70, 30)
    kitchen.hold(150, 2)
    state = kitchen.engine.state.channels["brisket-1/core"]
    assert state.value == milli_c_from_fahrenheit(150)
    assert abs(state.level - milli_c_from_fahrenheit(150)) < 1


def test_the_level_follows_with_a_time_constant_of_twenty_seconds(kitchen: Kitchen) -> None:
    kitchen.hold(150, 60)
    kitchen.hold(160, 20)
    state = kitchen.engine.state.channels["brisket-1/core"]
    share = (state.level - milli_c_from_fahrenheit(150)) / (10 / 1.8 * 1000)
    assert 0.60 < share < 0.66  # 1 - 1/e, in steps of a second


def test_a_pit_remembers_a_minute_of_its_ten_second_bins() -> None:
    kitchen = Kitchen(BAND)
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 238, 5, "pit")
    assert len(kitchen.engine.state.channels["pit"].recent_pit_mc) == 7


def test_a_rule_without_a_delay_is_told_with_the_reading_itself() -> None:
    policy = load_policy()
    quick = {kind: replace(rule, on_delay_ms=0) for kind, rule in policy.rules.items()}
    kitchen = Kitchen(None)
    kitchen.engine = Engine(EngineState("r"), replace(policy, rules=quick))
    kitchen.say(CookStarted(parse_cook(COOK)))
    kitchen.stage(Stage.SMOKING)
    kitchen.read(164)
    kitchen.t_ms += 1000
    kitchen.read(165)
    assert kitchen.alerts("wrap-due") == [(1, "unacknowledged")]


def test_a_second_alarm_of_a_kind_is_another_occurrence() -> None:
    kitchen = Kitchen(BAND)
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 250, 10, "pit")
    for _ in range(2):
        minutes(kitchen, 320, 10, "pit")
        minutes(kitchen, 250, 15, "pit")
    assert kitchen.engine.state.watches["pit-high/pit"].occurrence == 2


def test_an_alarm_without_a_value_has_no_unit() -> None:
    kitchen = Kitchen(BAND)
    kitchen.stage(Stage.SMOKING)
    minutes(kitchen, 250, 10, "pit")
    kitchen.wait(3600)
    stale = [e.body for e in kitchen.entries() if isinstance(e.body, AlertChanged)]
    assert {(one.value is None, one.unit is None) for one in stale} <= {
        (True, True),
        (False, False),
    }
    assert any(one.value is None for one in stale)


def test_wrap_and_pull_at_one_temperature_are_two_targets() -> None:
    kitchen = Kitchen()
    at_mc = milli_c_from_fahrenheit(190)
    kitchen.say(TargetSet("brisket-1", at_mc, at_mc))
    piece = kitchen.engine.book.pieces["brisket-1"].piece
    assert (piece.wrap_at_mc, piece.pull_at_mc) == (at_mc, at_mc)


def test_a_tender_check_is_asked_under_the_pull_and_never_over_it() -> None:
    for pull_f, asked in ((203, True), (180, False)):
        kitchen = Kitchen()
        kitchen.say(TargetSet("brisket-1", None, milli_c_from_fahrenheit(pull_f)))
        limits = {limit.key for limit in kitchen.engine.compiled.limits()}
        assert ("tender-check-due/brisket-1" in limits) is asked


def test_each_limit_is_judged_on_its_own_channel() -> None:
    kitchen = Kitchen()
    kitchen.stage(Stage.SMOKING)
    lanes = kitchen.engine.lanes
    kinds = {name: {limit.rule.kind for limit in lane.limits} for name, lane in lanes.items()}
    assert "pull-due" in kinds["brisket-1/core"]
    assert not kinds["brisket-1/point"] & {"pull-due", "wrap-due"}
    assert not kinds["pit"] & {"pull-due", "wrap-due"}
    kitchen.stage(Stage.RESTING)
    lanes = kitchen.engine.lanes
    held = {name: {limit.rule.kind for limit in lane.limits} for name, lane in lanes.items()}
    assert all("hot-hold-low" in held[f"brisket-1/{name}"] for name in ("core", "point"))
    assert "hot-hold-low" not in held["pit"]


def test_a_probe_in_what_was_carved_may_be_silent() -> None:
    kitchen = Kitchen()
    kitchen.hold(150, 60)
    for stage in (Stage.SMOKING, Stage.RESTING, Stage.CARVED):
        kitchen.stage(stage)
    kitchen.wait(1800)
    assert not [state for _, state in kitchen.alerts("channel-stale") if state != "normal"]


def test_two_probes_of_two_pieces_are_not_compared_for_drift() -> None:
    """Two pieces may be 20 F apart for hours; two cores of one piece may not."""
    second = '[[piece]]\nid = "brisket-2"\ncut = "brisket-packer"\n[[channel]]'
    two = COOK.replace("brisket-1/point", "brisket-2/core").replace("[[channel]]", second, 1)
    head, _, tail = two.partition('"brisket-2/core"')
    two = head + '"brisket-2/core"' + tail.replace('piece = "brisket-1"', 'piece = "brisket-2"', 1)
    kitchen = Kitchen(two)
    for piece in ("brisket-1", "brisket-2"):
        kitchen.stage(Stage.SMOKING, piece)
    for minute in range(180):
        kitchen.hold(60 + minute / 2, 1, "brisket-1/core")
        kitchen.read(40 + minute / 3, "brisket-2/core")
        kitchen.read(250, "pit")
        kitchen.wait(59)
    doubts = {lane.state.doubt for lane in kitchen.engine.lanes.values()}
    assert doubts == {""}
