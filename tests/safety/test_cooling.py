"""Cooling. Sources: FDA Food Code 3-501.14(A); FSIS Appendix B (June 1999), item 1."""

from __future__ import annotations

from dataclasses import asdict, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.safety.cooling import (
    Cooling,
    CoolingClock,
    cooling,
    cooling_clock,
    steps_named,
    steps_of,
)
from pitlogger.safety.history import PieceHistory, curve
from pitlogger.safety.judge import judge
from pitlogger.safety.policy import Policy
from tests.safety.building import MIN, PLANT, RETAIL, history, line, without

COOLED = ((0.0, "holding"), (30.0, "cooling"))


def cooled(piece: PieceHistory, policy: Policy = RETAIL) -> Cooling:
    return cooling(piece, curve(piece, policy.max_gap.ms, policy.settle.ms), policy)


def profile(middle_min: float, end_min: float) -> PieceHistory:
    """Return a piece at 135 F at 60 min, at 70 and 41 F so many minutes later."""
    core = line((0, 150), (60, 135), (60 + middle_min, 70), (60 + end_min, 41), (60 + end_min, 41))
    return history(core, stages=COOLED)


@pytest.mark.parametrize(
    ("middle_min", "end_min", "first", "second"),
    [
        (119, 359, True, True),
        (120, 360, True, True),
        (121, 359, False, True),
        (119, 361, True, False),
        (60, 350, True, True),
        (180, 400, False, False),
    ],
)
def test_both_clocks_run_from_the_135_f_crossing(
    middle_min: float, end_min: float, first: bool, second: bool
) -> None:
    found = cooled(profile(middle_min, end_min))
    assert [stage.met for stage in found.stages] == [first, second]
    assert found.verdict.met is (first and second)
    assert found.stages[0].took_s == pytest.approx(middle_min * 60, abs=3)
    assert found.stages[1].took_s == pytest.approx(end_min * 60, abs=3)


def test_crossings_lie_on_the_line_between_readings() -> None:
    core = line((0, 150), (20, 130), (40, 110), (100, 60), (220, 40), every_s=1200)
    found = cooled(history(core, stages=((0.0, "cooling"),)))
    assert found.stages[0].took_s == pytest.approx((40 + (110 - 70) / 50 * 60 - 15) * 60, abs=2)


def test_the_clock_starts_at_the_crossing_though_the_stage_was_set_later() -> None:
    core = line((0, 150), (15, 135), (150, 70), (300, 41), (310, 41))
    late = history(core, stages=((0.0, "holding"), (60.0, "cooling")))
    assert cooled(late).stages[0].took_s == pytest.approx(135 * 60, abs=3)
    assert cooled(late).stages[0].met is False


def test_warming_again_before_cooling_begins_starts_the_clock_anew() -> None:
    core = line((0, 150), (30, 130), (60, 130), (70, 150), (100, 135), (200, 70), (400, 41))
    found = cooled(history(core, stages=((0.0, "holding"), (80.0, "cooling"))))
    assert found.stages[0].took_s == pytest.approx(100 * 60, abs=3)


def test_warming_again_while_cooling_does_not() -> None:
    core = line((0, 150), (30, 130), (60, 140), (90, 135), (200, 70), (400, 41))
    found = cooled(history(core, stages=((0.0, "cooling"),)))
    assert found.stages[0].took_s == pytest.approx((200 - 22.5) * 60, abs=3)
    assert found.stages[0].met is False


def test_the_slowest_core_decides() -> None:
    quick = line((0, 150), (10, 135), (100, 70), (200, 41), (420, 38))
    slow = line((0, 160), (20, 135), (150, 70), (420, 38))
    assert cooled(history(quick, stages=((0.0, "cooling"),))).verdict.met is True
    found = cooled(history(quick, slow, stages=((0.0, "cooling"),)))
    assert found.stages[0].took_s == pytest.approx(130 * 60, abs=3)
    assert found.stages[0].met is False


def test_a_late_core_is_late_before_it_arrives() -> None:
    core = line((0, 150), (10, 135), (140, 80))
    found = cooled(history(core, stages=((0.0, "cooling"),)))
    assert [stage.met for stage in found.stages] == [False, None]
    assert found.verdict.met is False
    assert found.stages[0].took_s is None


def test_a_piece_still_cooling_in_time_is_not_shown_yet() -> None:
    found = cooled(history(line((0, 150), (10, 135), (60, 90)), stages=((0.0, "cooling"),)))
    assert [stage.met for stage in found.stages] == [None, None]


def test_a_hole_over_a_crossing_is_not_shown() -> None:
    core = without(line((0, 150), (10, 135), (110, 70), (300, 41), (320, 41)), 80, 140)
    found = cooled(history(core, stages=((0.0, "cooling"),)))
    assert found.stages[0].met is None
    assert found.stages[0].took_s is None
    assert found.verdict.met is None
    assert "hole" in found.verdict.reason


def test_a_hole_in_the_second_stage_leaves_the_first_shown() -> None:
    core = without(line((0, 150), (10, 135), (110, 70), (300, 41), (320, 41)), 150, 250)
    found = cooled(history(core, stages=((0.0, "cooling"),)))
    assert [stage.met for stage in found.stages] == [True, None]
    assert found.verdict.met is None


def test_a_hole_does_not_hide_a_stage_that_was_late() -> None:
    core = without(line((0, 150), (10, 135), (300, 75), (500, 41)), 50, 200)
    assert cooled(history(core, stages=((0.0, "cooling"),))).stages[0].met is False


def test_a_hole_before_the_start_and_after_the_end_does_not_matter() -> None:
    core = line((0, 160), (60, 135), (150, 70), (300, 41), (400, 38))
    core = without(without(core, 5, 50), 310, 395)
    assert cooled(history(core, stages=((0.0, "holding"), (1.0, "cooling")))).verdict.met is True


def test_hand_readings_alone_prove_what_lies_between_them() -> None:
    spots = ((0.0, 140.0), (10.0, 133.0), (110.0, 68.0), (330.0, 40.0))
    found = cooled(history(stages=((0.0, "cooling"),), spots=spots))
    assert [stage.met for stage in found.stages] == [True, True]


def test_hand_readings_too_far_apart_prove_nothing() -> None:
    spots = ((0.0, 140.0), (330.0, 40.0))
    found = cooled(history(stages=((0.0, "cooling"),), spots=spots))
    assert [stage.met for stage in found.stages] == [None, True]


def test_hand_readings_prove_lateness_too() -> None:
    spots = ((0.0, 140.0), (10.0, 133.0), (135.0, 80.0), (200.0, 65.0))
    assert cooled(history(stages=((0.0, "cooling"),), spots=spots)).stages[0].met is False


def test_a_fall_that_is_not_on_record_is_not_shown() -> None:
    core = line((0, 120), (60, 70), (200, 41), (220, 41))
    found = cooled(history(core, stages=((0.0, "cooling"),)))
    assert found.verdict.met is None
    assert "not on record" in found.verdict.reason


def test_a_fall_not_on_record_is_late_once_it_must_be() -> None:
    core = line((0, 120), (130, 90))
    assert cooled(history(core, stages=((0.0, "cooling"),))).stages[0].met is False


def test_raw_cold_before_the_fire_starts_no_clock() -> None:
    core = line((0, 40), (300, 203), (360, 135), (460, 70), (600, 41), (620, 41))
    stages = ((0.0, "smoking"), (300.0, "resting"), (330.0, "cooling"))
    assert cooled(history(core, stages=stages)).verdict.met is True


def test_a_moved_probe_is_not_shown() -> None:
    core = line((0, 150), (10, 135), (110, 70), (300, 41), (320, 41))
    found = cooled(history(core, stages=((0.0, "cooling"),), moves=(100.0,)))
    assert found.verdict.met is None
    assert [stage.met for stage in found.stages] == [None, None]
    assert "moved" in found.verdict.reason


def test_a_probe_moved_after_it_was_cold_does_not_matter() -> None:
    core = line((0, 150), (10, 135), (110, 70), (300, 41), (400, 38))
    piece = history(core, stages=((0.0, "cooling"),), moves=(380.0,))
    assert cooled(piece).verdict.met is True


def test_no_probe_is_not_shown() -> None:
    found = cooled(history(stages=((0.0, "cooling"),), end_min=400))
    assert (found.verdict.applies, found.verdict.met) == (True, None)


def test_a_piece_not_cooled_is_not_concerned() -> None:
    found = cooled(history(line((0, 150), (60, 140)), stages=((0.0, "holding"),)))
    assert not found.verdict.applies
    assert found.document()["stage_1"]["met"] is None


def test_a_record_without_stages_is_judged_by_its_fall() -> None:
    core = line((0, 60), (200, 203), (300, 135), (400, 70), (600, 41), (620, 41))
    assert cooled(history(core)).verdict.met is True


def test_of_two_coolings_the_worse_is_reported() -> None:
    core = line((0, 150), (10, 135), (200, 70), (300, 41), (310, 41), (330, 165), (350, 135),
                (400, 70), (500, 41), (510, 41))  # fmt: skip
    stages = ((0.0, "cooling"), (310.0, "reheating"), (331.0, "cooling"))
    assert cooled(history(core, stages=stages)).stages[0].met is False


def test_the_plant_option_is_judged_by_its_own_marks_and_clocks() -> None:
    core = line((0, 150), (10, 130), (90, 80), (380, 40), (390, 40))
    found = cooled(history(core, stages=((0.0, "cooling"),)), PLANT)
    assert [stage.took_s for stage in found.stages] == pytest.approx([80 * 60, 290 * 60], abs=3)
    assert found.verdict.met is True


def test_the_second_scheme_stands_beside_the_one_that_decides() -> None:
    core = line((0, 150), (10, 135), (25, 130), (120, 78), (125, 70), (300, 41), (330, 38))
    judged = judge(history(core, stages=((0.0, "cooling"),)), RETAIL)
    assert judged.cooling.verdict.met is True
    assert judged.second_cooling is not None
    assert judged.second_cooling.verdict.met is False


def test_a_scheme_of_three_steps_has_three_stages() -> None:
    piece = profile(100, 300)
    found = cooling(piece, curve(piece, 30 * MIN), RETAIL, steps_named("fsis-option-2"))
    assert set(found.document()) >= {"stage_1", "stage_2", "stage_3"}


def test_the_live_clock_tells_what_is_left() -> None:
    steps = steps_of(RETAIL)
    clock = cooling_clock(steps, RETAIL.max_gap.ms)
    clock.is_cooling = True
    assert clock.remaining_s(steps[0], 0) is None
    for t_ms, value_mc in line((0, 145), (10, 135), (70, 100)):
        clock.update(t_ms, value_mc)
    assert clock.remaining_s(steps[0], 70 * MIN) == pytest.approx(60 * 60, abs=1)
    assert clock.remaining_s(steps[1], 400 * MIN) == pytest.approx(-30 * 60, abs=1)
    for t_ms, value_mc in line((71, 99), (100, 70), (101, 69)):
        clock.update(t_ms, value_mc)
    assert clock.remaining_s(steps[0], 101 * MIN) is None


def test_a_clock_made_again_from_its_values_goes_on_alike() -> None:
    steps = steps_of(RETAIL)
    readings = line((0, 150), (10, 135), (110, 70), (300, 41))
    whole, first = (cooling_clock(steps, RETAIL.max_gap.ms) for _ in range(2))
    for t_ms, value_mc in readings[:60]:
        first.update(t_ms, value_mc)
    again = CoolingClock(**asdict(first))
    for t_ms, value_mc in readings[60:]:
        again.update(t_ms, value_mc)
    for t_ms, value_mc in readings:
        whole.update(t_ms, value_mc)
    assert again == whole


@given(st.integers(20, 400), st.integers(1, 300), st.sampled_from([10, 60, 300, 900]))
def test_verdicts_do_not_hang_on_how_often_it_is_read(
    middle_min: int, more_min: int, every_s: int
) -> None:
    if middle_min == 120 or middle_min + more_min == 360:
        return  # on the edge rounding to 0.001 C decides
    core = line((0, 150), (60, 135), (60 + middle_min, 70), (60 + middle_min + more_min, 41),
                (70 + middle_min + more_min, 40), every_s=every_s)  # fmt: skip
    found = cooled(history(core, stages=((0.0, "cooling"),)))
    assert found.stages[0].met is (middle_min <= 120)
    assert found.stages[1].met is (middle_min + more_min <= 360)


def test_the_reason_tells_each_stage_with_its_time_and_limit() -> None:
    reason = cooled(profile(100, 300)).verdict.reason
    first, second = reason.split("; ")[:2]
    assert first.startswith("135 F to 70 F took 1 h 40 min, limit 2 h")
    assert second.startswith("135 F to 41 F took 5 h, limit 6 h")


@pytest.mark.parametrize(("fell_f", "is_met"), [(12, None), (30, None), (60, True), (100, True)])
def test_hand_readings_that_meat_cannot_go_between_show_no_cooling(
    fell_f: float, is_met: bool | None
) -> None:
    spots = ((0.0, 165.0), (30.0, float(fell_f)), (100.0, 60.0), (180.0, 38.0))
    found = cooled(history(stages=((0.0, "cooling"),), spots=spots))
    assert found.verdict.met is is_met
    assert ("meat cannot go" in found.verdict.reason) is (is_met is None)


def test_what_meat_cannot_do_takes_no_breach_away() -> None:
    spots = ((0.0, 165.0), (20.0, 12.0), (200.0, 100.0), (500.0, 60.0))
    assert cooled(history(stages=((0.0, "cooling"),), spots=spots)).verdict.met is not True
    late = ((0.0, 165.0), (10.0, 120.0), (200.0, 100.0), (500.0, 60.0), (505.0, 12.0))
    assert cooled(history(stages=((0.0, "cooling"),), spots=late)).verdict.met is False


def test_a_hole_before_it_was_warmed_again_is_none_of_what_follows() -> None:
    core = line((0, 150), (30, 130), (60, 125), (150, 120), (160, 150), (190, 135), (260, 70),
                (400, 41), (410, 41))  # fmt: skip
    made = history(without(core, 60, 150), stages=((0.0, "holding"), (170.0, "cooling")))
    assert cooled(made).verdict.met is True


def test_warmed_again_before_it_is_cooled_it_is_judged_by_the_later_fall() -> None:
    core = line((0, 150), (30, 130), (60, 150), (90, 135), (160, 70), (300, 41), (310, 41))
    found = cooled(history(core, stages=((0.0, "holding"), (70.0, "cooling"))))
    assert [stage.met for stage in found.stages] == [True, True]


@pytest.mark.parametrize("others", [1, 2, 3])
def test_a_probe_that_ends_before_it_is_cold_shows_nothing_beside_others(others: int) -> None:
    whole = line((0, 150), (60, 135), (150, 70), (300, 41), (310, 41))
    broken = line((0, 150), (60, 135), (100, 105))
    assert cooled(history(*[whole] * others, stages=COOLED)).verdict.met is True
    assert cooled(history(*[whole] * others, broken, stages=COOLED)).verdict.met is None


@pytest.mark.parametrize("is_agreed", [False, True])
def test_a_fall_is_judged_where_only_recognition_says_that_it_is_off_the_pit(
    is_agreed: bool,
) -> None:
    core = line((0, 203), (60, 203), (120, 130), (300, 75), (330, 72))
    piece = history(core, stages=((0.0, "smoking"), (60.0, "resting")))
    piece = replace(piece, unsaid=not is_agreed)
    points = curve(piece, RETAIL.max_gap.ms, RETAIL.settle.ms)
    found = cooling(piece, points, RETAIL, cooked_ms=10 * MIN)
    assert found.verdict.applies == (not is_agreed)
    if not is_agreed:
        assert found.stages[0].met is False
        assert "no mark says that it was taken off the pit" in found.verdict.reason
