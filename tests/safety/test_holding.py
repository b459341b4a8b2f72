"""Hot and cold holding. Source of the limits: FDA Food Code 3-501.16."""

from __future__ import annotations

from dataclasses import asdict, replace

import pytest

from pitlogger.model.quantities import milli_c_from_fahrenheit, show_duration
from pitlogger.safety.cold import cold_hold
from pitlogger.safety.history import PieceHistory, ProbeSeries, curve
from pitlogger.safety.holding import BreachClock, hold_clock, holding
from pitlogger.safety.judge import judge
from pitlogger.safety.policy import Policy, parse_policy
from pitlogger.safety.verdict import Verdict
from tests.safety.building import HOME, MIN, RETAIL, history, line, without

HELD = ((0.0, "resting"), (60.0, "holding"))


def held(piece: PieceHistory, policy: Policy = RETAIL) -> Verdict:
    return holding(piece, curve(piece, policy.max_gap.ms, policy.settle.ms), policy)


def chilled(piece: PieceHistory, policy: Policy = RETAIL) -> Verdict:
    return cold_hold(piece, curve(piece, policy.max_gap.ms, policy.settle.ms), policy)


def test_at_the_limit_is_within_it() -> None:
    assert held(history(line((0, 150), (60, 135), (200, 135)), stages=HELD)).met is True


def test_below_the_limit_for_a_minute_is_a_breach() -> None:
    dip = line((0, 150), (100, 136), (100.5, 134), (102.5, 134), (103, 136), (200, 136), every_s=10)
    verdict = held(history(dip, stages=HELD))
    assert verdict.met is False
    assert "below 135 F from 1970-01-01T01:40:" in verdict.reason
    assert "134.0 F" in verdict.reason


def test_a_blip_shorter_than_the_delay_is_none() -> None:
    dip = line((0, 150), (100, 136), (100.2, 134.5), (100.4, 136), (200, 136), every_s=6)
    assert held(history(dip, stages=HELD)).met is True


def test_a_fall_between_two_readings_before_it_is_marked_off_is_not_met() -> None:
    fall = line((0, 150), (100, 136), (104, 110), (200, 60), every_s=240)
    marked = ((0.0, "holding"), (103.0, "cooling"))
    verdict = held(history(fall, stages=marked))
    assert (verdict.met, "by the line between" in verdict.reason) == (None, True)
    assert held(history(fall, stages=((0.0, "holding"), (100.9, "cooling")))).met is True


@pytest.mark.parametrize("stage", ["resting", "holding", "in-transit", "serving", "carved"])
def test_the_limit_holds_in_whatever_stage_it_is_cooked_and_off_the_pit(stage: str) -> None:
    piece = history(line((0, 140), (60, 120)), stages=((0.0, stage),))
    assert held(piece).met is False


@pytest.mark.parametrize("stage", ["cooling", "chilled", "discarded", "smoking"])
def test_the_limit_does_not_hold_when_it_is_not_held_hot(stage: str) -> None:
    piece = history(line((0, 140), (60, 120)), stages=((0.0, stage),))
    assert not held(piece).applies


def test_the_coldest_core_decides() -> None:
    warm, cold = line((0, 160), (90, 150)), line((0, 150), (90, 133))
    assert held(history(warm, stages=HELD)).met is True
    assert held(history(warm, cold, stages=HELD)).met is False


def test_a_hole_is_not_shown() -> None:
    core = without(line((0, 160), (120, 150)), 40, 80)
    verdict = held(history(core, stages=HELD))
    assert verdict.met is None
    assert "no reading for 40 min" in verdict.reason


def test_a_hole_of_the_longest_allowed_length_is_shown() -> None:
    core = without(line((0, 160), (120, 150)), 40, 70)
    assert held(history(core, stages=HELD)).met is True


def test_a_hole_at_the_end_is_a_hole() -> None:
    assert held(history(line((0, 160), (60, 150)), stages=HELD, end_min=120)).met is None


def test_a_hole_does_not_hide_a_breach() -> None:
    core = without(line((0, 160), (60, 120), (180, 120)), 80, 140)
    assert held(history(core, stages=HELD)).met is False


def test_a_hand_reading_below_the_limit_is_a_breach() -> None:
    core = line((0, 160), (120, 150))
    assert held(history(core, stages=HELD, spots=((50.5, 131.0),))).met is False
    assert held(history(core, stages=HELD, spots=((50.5, 138.0),))).met is True


def test_a_hand_reading_fills_a_hole() -> None:
    core = without(line((0, 160), (120, 150)), 40, 80)
    assert held(history(core, stages=HELD, spots=((60.0, 155.0),))).met is True


def test_hand_readings_alone_are_a_record() -> None:
    spots = tuple((float(minute), 150.0) for minute in range(0, 121, 30))
    assert held(history(stages=HELD, spots=spots)).met is True


def test_a_dead_probe_is_not_shown_whatever_the_other_reads() -> None:
    dead, live = line((0, 160), (30, 155)), line((0, 165), (120, 140))
    verdict = held(history(dead, live, stages=HELD))
    assert verdict.met is None
    assert "brisket-1/core0: no reading for 1 h 30 min" in verdict.reason
    assert "a hand reading at that place shows it" in verdict.reason
    spots = tuple((float(minute), 150.0) for minute in range(45, 121, 15))
    assert held(history(dead, live, stages=HELD, spots=spots)).met is True


def test_what_is_read_after_it_was_marked_served_is_named() -> None:
    spots = ((0.0, 140.0), (45.0, 104.0), (60.0, 86.0))
    verdict = held(history(stages=((0.0, "holding"), (10.0, "served")), spots=spots))
    assert verdict.met is None
    assert "104.0 F" in verdict.reason
    assert "after it was marked served" in verdict.reason


def test_no_probe_is_not_shown() -> None:
    verdict = held(history(stages=HELD, end_min=120))
    assert (verdict.applies, verdict.met) == (True, None)
    assert "no probe" in verdict.reason


def test_a_moved_probe_is_not_shown() -> None:
    verdict = held(history(line((0, 160), (120, 150)), stages=HELD, moves=(70.0,)))
    assert verdict.met is None
    assert "moved" in verdict.reason


def test_a_probe_in_the_air_while_it_is_moved_is_no_breach() -> None:
    core = line((0, 160), (70, 155), (71, 90), (75, 90), (76, 150), (150, 150))
    assert held(history(core, stages=HELD, moves=(72.0,))).met is None


def test_a_breach_before_the_move_stays_a_breach() -> None:
    core = line((0, 140), (20, 125), (40, 125), (50, 150), (150, 150))
    assert held(history(core, stages=HELD, moves=(100.0,))).met is False


def test_a_probe_moved_before_it_was_held_does_not_matter() -> None:
    core = line((-100, 120), (0, 200), (120, 150))
    stages = ((-100.0, "smoking"), (0.0, "resting"))
    assert held(history(core, stages=stages, moves=(-50.0,))).met is True


def test_home_holds_at_140_f() -> None:
    piece = history(line((0, 150), (60, 137), (120, 137)), stages=HELD)
    assert held(piece).met is True
    assert held(piece, HOME).met is False


def test_a_charted_roast_may_be_held_at_130_f_only_where_the_policy_says_so() -> None:
    lenient = parse_policy(
        '[policy]\nname = "test"\nversion = "1"\nbase = "retail-food-code"\n'
        '[hot_hold_roasts]\nvalue = "hot-hold-roast"\nsource = "this test"\n'
    )
    core = line((0, 60), (60, 150), (90, 150), (120, 132), (180, 132))
    piece = history(core, stages=((0.0, "smoking"), (90.0, "resting")), cut="tri-tip")
    ground = history(
        core, stages=((0.0, "smoking"), (90.0, "resting")), cut="tri-tip", prepared="ground"
    )
    assert judge(piece, RETAIL).holding.met is False
    assert judge(piece, lenient).holding.met is True
    assert judge(ground, lenient).holding.met is False


def test_a_clock_made_again_from_its_values_goes_on_alike() -> None:
    readings = line((0, 140), (30, 130), (60, 140))
    whole, first = hold_clock(RETAIL), hold_clock(RETAIL)
    for t_ms, value_mc in readings[:25]:
        first.update(t_ms, value_mc)
    again = BreachClock(**asdict(first))
    for t_ms, value_mc in readings[25:]:
        again.update(t_ms, value_mc)
    for t_ms, value_mc in readings:
        whole.update(t_ms, value_mc)
    assert again == whole


def test_a_clock_tells_the_breach_when_its_delay_is_over() -> None:
    clock = hold_clock(RETAIL)
    below = milli_c_from_fahrenheit(133)
    clock.update(0, milli_c_from_fahrenheit(140))
    clock.update(10_000, below)
    assert clock.breached_ms is None
    clock.update(69_000, below)
    assert clock.breach_from_ms == pytest.approx(7143, abs=2)
    assert clock.breached_ms == pytest.approx(67_143, abs=2)
    assert clock.beyond_now_ms(70_000) == pytest.approx(62_857, abs=2)


def cold_series(*points: tuple[float, float]) -> tuple[ProbeSeries, ...]:
    return (ProbeSeries("fridge", line(*points)),)


def test_raw_meat_is_held_cold_by_its_cold_store() -> None:
    stages = ((0.0, "raw"), (600.0, "smoking"))
    good = history(stages=stages, cold=cold_series((0, 38), (600, 40)))
    warm = history(stages=stages, cold=cold_series((0, 38), (300, 38), (310, 50), (600, 50)))
    opened = history(
        stages=stages, cold=cold_series((0, 38), (99, 38), (100, 45), (110, 38), (600, 38))
    )
    assert chilled(good).met is True
    assert chilled(warm).met is False
    assert chilled(opened).met is True


def test_leftovers_are_held_cold_from_when_they_got_there() -> None:
    core = line((0, 150), (60, 70), (240, 40), (600, 39))
    stages = ((0.0, "cooling"), (240.0, "chilled"))
    assert chilled(history(core, stages=stages)).met is True
    warmed = line((0, 150), (60, 70), (240, 40), (400, 40), (420, 48), (600, 48))
    assert chilled(history(warmed, stages=stages)).met is False


def test_leftovers_still_warm_are_not_shown_cold() -> None:
    core = line((0, 150), (60, 100))
    verdict = chilled(history(core, stages=((0.0, "cooling"), (30.0, "chilled"))))
    assert verdict.met is None
    assert "still cooling" in verdict.reason


def test_leftovers_with_a_hole_or_without_a_probe_are_not_shown() -> None:
    core = without(line((0, 150), (60, 40), (600, 39)), 200, 400)
    stages = ((0.0, "cooling"), (60.0, "chilled"))
    assert chilled(history(core, stages=stages)).met is None
    assert chilled(history(stages=stages, end_min=600)).met is None


def test_a_breach_of_the_cold_limit_is_told_from_when_to_the_second() -> None:
    stages = ((0.0, "raw"), (600.0, "smoking"))
    warm = chilled(
        history(stages=stages, cold=cold_series((0, 38), (300, 38), (310, 48), (600, 48)))
    )
    assert warm.reason == "above 41 F from 1970-01-01T05:03:00Z, warmest 48.0 F"


def test_leftovers_whose_probe_was_moved_are_concerned_and_not_shown() -> None:
    core = line((0, 150), (60, 70), (240, 40), (600, 39))
    stages = ((0.0, "cooling"), (240.0, "chilled"))
    verdict = chilled(history(core, stages=stages, moves=(400.0,)))
    assert (verdict.applies, verdict.met) == (True, None)
    assert verdict.reason == "a probe was moved at 1970-01-01T06:40:00Z: not shown"


def test_a_piece_not_kept_cold_is_not_concerned() -> None:
    assert not chilled(history(line((0, 40), (60, 90)), stages=((0.0, "smoking"),))).applies


def test_a_fall_between_two_readings_does_not_end_with_the_mark_between_them() -> None:
    """It is under the limit by the line for minutes before it is marked as cooling."""
    cores = ((0, 66_000), (20 * MIN, 60_000), (40 * MIN, 40_000))
    marked = ((0.0, "holding"), (30.0, "cooling"))
    verdict = held(history(cores, stages=marked))
    assert verdict.met is None
    assert "by the line between" in verdict.reason
    at_once = ((0.0, "holding"), (22.0, "cooling"))
    assert held(history(cores, stages=at_once)).met is True


def test_one_dip_is_once() -> None:
    dip = line((0, 150), (100, 136), (100.2, 134.5), (100.4, 136), (200, 136), every_s=6)
    assert "dips to 134.5 F, once, each" in held(history(dip, stages=HELD)).reason


def test_noise_of_a_rise_is_no_fall_where_it_is_not_known_whether_it_was_cooked() -> None:
    dead = line((0, 50), (60, 70))
    rising = line((0, 50), (400, 135.2), (402, 134.2), (406, 134.2), (408, 136), (600, 150))
    found = judge(history(rising, dead, stages=((0.0, "smoking"),), end_min=600), RETAIL)
    assert found.lethality.verdict.met is None
    assert not found.holding.applies


def test_a_plain_fall_is_one_though_it_hardly_came_over_the_limit() -> None:
    dead = line((0, 50), (60, 70))
    fell = line((0, 50), (400, 135.2), (480, 135.2), (600, 70))
    found = judge(history(fell, dead, stages=((0.0, "smoking"),), end_min=600), RETAIL)
    assert found.holding.met is False
    assert "perhaps cooked, and no mark says" in found.holding.reason


@pytest.mark.parametrize("put_in_min", [31, 170])
def test_the_time_before_its_first_probe_was_put_in_is_not_shown(put_in_min: int) -> None:
    late = ProbeSeries("late", line((put_in_min, 150), (180, 149)), from_ms=put_in_min * MIN)
    piece = replace(history(stages=((0, "holding"),), end_min=180), cores=(late,))
    verdict = judge(piece, RETAIL).holding
    assert verdict.met is None
    assert verdict.reason.startswith(f"late: no reading for {show_duration(put_in_min * MIN)}")
    spots = tuple((at_min * MIN, 66_000) for at_min in range(5, 175, 20))
    assert judge(replace(piece, spots=spots), RETAIL).holding.met is True


def test_a_probe_put_in_beside_another_counts_from_then_on() -> None:
    late = ProbeSeries("late", line((90, 150), (180, 149)), from_ms=90 * MIN)
    piece = history(line((0, 155), (180, 150)), stages=((0, "holding"),))
    piece = replace(piece, cores=(*piece.cores, late))
    assert judge(piece, RETAIL).holding.met is True
