"""Come-up, reheating and time out of control.

Sources: FSIS-GD-2021 p. 24; FDA Food Code 3-403.11 and 3-501.19.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from pitlogger.model.quantities import milli_c_from_fahrenheit
from pitlogger.safety.come_up import come_up, come_up_clock
from pitlogger.safety.history import PieceHistory, ProbeSeries, curve
from pitlogger.safety.judge import judge
from pitlogger.safety.out_of_control import out_of_control_clock
from pitlogger.safety.policy import Policy
from pitlogger.safety.reheating import reheat_clock, reheating
from pitlogger.safety.verdict import Verdict
from tests.safety.building import HOME, HOUR, MIN, PLANT, RETAIL, history, line, without

ON_PIT = ((0.0, "smoking"),)


def came_up(piece: PieceHistory, policy: Policy = PLANT) -> Verdict:
    return come_up(piece, curve(piece, policy.max_gap.ms, policy.settle.ms), policy)


def reheated(piece: PieceHistory) -> Verdict:
    return reheating(piece, curve(piece, RETAIL.max_gap.ms), RETAIL)


def test_come_up_adds_the_time_between_50_and_130_f() -> None:
    clock = come_up_clock(RETAIL)
    for t_ms, value_mc in line((0, 40), (10, 50), (250, 130), (300, 150)):
        clock.update(t_ms, value_mc)
    assert clock.took_ms == pytest.approx(240 * MIN, rel=1e-4)
    assert clock.is_through
    assert not clock.is_slow


@pytest.mark.parametrize(("minutes", "met"), [(350, True), (370, False)])
def test_the_plant_judges_come_up_against_six_hours(minutes: float, met: bool) -> None:
    core = line((0, 50), (minutes, 130), (minutes + 60, 150))
    assert came_up(history(core, stages=ON_PIT, cut="pork-butt")).met is met


def test_a_slow_whole_brisket_is_a_gap_and_no_verdict() -> None:
    core = line((0, 50), (420, 130), (480, 150))
    verdict = came_up(history(core, stages=ON_PIT, cut="brisket-packer"))
    assert verdict.met is None
    assert "scientific gap" in verdict.reason
    injected = history(core, stages=ON_PIT, cut="brisket-packer", prepared="injected")
    assert came_up(injected).met is False


def test_retail_warns_of_come_up_and_never_judges() -> None:
    core = line((0, 50), (420, 130), (480, 150))
    verdict = came_up(history(core, stages=ON_PIT, cut="pork-butt"), RETAIL)
    assert verdict.met is None
    assert "7 h" in verdict.reason


def test_come_up_of_an_intact_cut_may_follow_its_surface() -> None:
    core = line((0, 50), (420, 130), (480, 150))
    surface = (ProbeSeries("s", line((0, 50), (120, 130), (480, 180))),)
    piece = history(core, stages=ON_PIT, cut="pork-butt", surface=surface)
    assert came_up(piece).met is True
    ground = history(core, stages=ON_PIT, cut="pork-butt", surface=surface, prepared="injected")
    assert came_up(ground).met is False


def test_come_up_with_a_hole_a_move_or_no_probe_is_not_shown() -> None:
    core = line((0, 50), (200, 130), (260, 150))
    assert came_up(history(without(core, 60, 120), stages=ON_PIT, cut="pork-butt")).met is None
    assert came_up(history(core, stages=ON_PIT, cut="pork-butt", moves=(100.0,))).met is None
    assert came_up(history(stages=ON_PIT, cut="pork-butt", end_min=300)).met is None


def test_come_up_stops_where_lethality_is_met() -> None:
    """Falling back through the window after a full cook is no come-up."""
    core = line((0, 50), (200, 130), (260, 165), (300, 125), (700, 125))
    judged = judge(history(core, stages=ON_PIT, cut="pork-butt"), PLANT)
    assert judged.lethality.verdict.met is True
    assert judged.come_up.met is True


@pytest.mark.parametrize(("minutes", "met"), [(119, True), (121, False)])
def test_reheating_runs_from_41_f_and_ends_with_15_s_at_165_f(minutes: float, met: bool) -> None:
    core = line((0, 38), (10, 41), (10 + minutes, 165), (20 + minutes, 170), every_s=15)
    assert reheated(history(core, stages=((0.0, "reheating"),))).met is met


def test_reheating_needs_the_full_15_s() -> None:
    blip = line((0, 41), (60, 164), (60.1, 165.5), (60.2, 164), (130, 160), every_s=3)
    assert reheated(history(blip, stages=((0.0, "reheating"),))).met is False


def test_reheating_that_has_time_left_is_not_shown_yet() -> None:
    core = line((0, 41), (60, 140))
    assert reheated(history(core, stages=((0.0, "reheating"),))).met is None


def test_reheating_follows_the_coldest_core() -> None:
    warm, cold = line((0, 41), (90, 180), (150, 180)), line((0, 41), (150, 150))
    assert reheated(history(warm, stages=((0.0, "reheating"),))).met is True
    assert reheated(history(warm, cold, stages=((0.0, "reheating"),))).met is False


def test_a_cold_core_that_fell_silent_before_the_end_is_not_credited_with_the_others_heat() -> None:
    cold, warm = line((0, 38), (90, 150)), line((0, 38), (100, 166), (110, 170))
    assert reheated(history(cold, warm, stages=((0.0, "reheating"), (105, "holding")))).met is None


def test_reheating_begins_with_the_first_core_that_leaves_the_cold() -> None:
    early, late = line((0, 38), (10, 50), (150, 180)), line((0, 38), (40, 41), (140, 170))
    assert reheated(history(early, late, stages=((0.0, "reheating"),))).met is False


def test_a_core_put_elsewhere_before_leftovers_were_hot_still_counts() -> None:
    stays, taken = line((0, 38), (120, 38), (200, 170)), line((0, 38), (60, 38))
    found = history(stays, taken, stages=((0.0, "chilled"), (120, "reheating"), (230, "holding")))
    put_elsewhere = replace(found.cores[1], to_ms=60 * MIN)
    told = judge(replace(found, cores=(found.cores[0], put_elsewhere)), RETAIL)
    assert told.cold_hold.met is None
    assert "its place ended" in told.cold_hold.reason
    assert told.reheating.met is None


def test_reheating_without_a_probe_is_not_shown() -> None:
    assert reheated(history(stages=((0.0, "reheating"),), end_min=200)).met is None
    assert not reheated(history(stages=((0.0, "holding"),), end_min=200)).applies


def test_the_reheat_clock_tells_what_is_left() -> None:
    clock = reheat_clock(0, RETAIL)
    for t_ms, value_mc in line((0, 38), (10, 41), (60, 120)):
        clock.update(t_ms, value_mc, value_mc)
    assert clock.remaining_s(60 * MIN) == pytest.approx(70 * 60, abs=30)


def test_ready_to_eat_food_of_a_plant_is_reheated_to_135_f() -> None:
    clock = reheat_clock(0, RETAIL, is_commercial=True)
    for t_ms, value_mc in line((0, 41), (60, 136)):
        clock.update(t_ms, value_mc, value_mc)
    assert clock.met() is True


def test_time_out_of_control_adds_up_between_the_limits() -> None:
    clock = out_of_control_clock(RETAIL)
    for t_ms, value_mc in line((0, 150), (15, 135), (75, 75)):
        clock.update(t_ms, value_mc)
    clock.pause()
    for t_ms, value_mc in line((200, 75), (230, 75)):
        clock.update(t_ms, value_mc)
    assert clock.spent_ms == pytest.approx(90 * MIN, rel=1e-3)
    assert clock.remaining_s() == pytest.approx(150 * 60, rel=1e-3)


def test_a_hot_day_shortens_the_time_at_home() -> None:
    hot = milli_c_from_fahrenheit(95)
    assert out_of_control_clock(HOME, hot).limit_ms == HOUR
    assert out_of_control_clock(HOME).limit_ms == 2 * HOUR
    assert out_of_control_clock(RETAIL, hot).limit_ms == 4 * HOUR
