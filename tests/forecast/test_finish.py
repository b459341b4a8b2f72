"""The finish: a time with its interval, or an honest reason why there is none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pitlogger.forecast.blend import carried
from pitlogger.forecast.change import settled
from pitlogger.forecast.finish import forecast
from pitlogger.forecast.request import Answer, Basis, Request, Series
from pitlogger.model.journal import LocalScore
from tests.forecast.made import PIT_C, cook_c, request, with_core


def test_quantiles_are_ordered_and_ahead() -> None:
    answer = forecast(request(3.0))
    assert answer.p10_s is not None
    assert answer.p50_s is not None
    assert answer.p90_s is not None
    assert 0 < answer.p10_s < answer.p50_s < answer.p90_s <= 24 * 3600
    assert answer.p_reach > 0.8


def test_the_same_request_gives_the_same_answer() -> None:
    assert forecast(request(4.0)) == forecast(request(4.0))


def test_the_time_left_shrinks_as_the_core_rises() -> None:
    early, late = forecast(request(3.0)), forecast(request(8.5, wrap_h=7.0))
    assert early.p50_s is not None
    assert late.p50_s is not None
    assert late.p50_s < early.p50_s


def test_readings_after_now_are_not_looked_at() -> None:
    later = request(6.0)
    assert forecast(replace(later, now_s=4 * 3600.0)) == forecast(
        replace(later, now_s=4 * 3600.0, core=_until(later.core, 4 * 3600.0))
    )


def test_a_cheap_update_leans_on_the_last_full_one() -> None:
    full = forecast(request(4.0))
    cheap = forecast(request(4.25, full=False, carried=full.carried))
    assert cheap.carried == full.carried  # and its age, so that the next full one comes in time
    assert full.carried is not None
    later = carried(full.carried, 4.25 * 3600.0)
    assert later is not None
    assert later.log_h == pytest.approx(np.log(np.exp(full.carried.log_h or 0.0) - 0.25), abs=1e-9)


def test_a_reached_target_needs_no_more_time() -> None:
    answer = forecast(request(12.0, wrap_h=6.0, target_c=70.0))
    assert (answer.p10_s, answer.p50_s, answer.p90_s, answer.p_reach) == (0, 0, 0, 1.0)


def test_the_interval_is_wider_until_five_own_cooks_are_stored() -> None:
    few = tuple(LocalScore(f"cook-{i}", "brisket", 0.0) for i in range(4))
    many = (*few, LocalScore("cook-5", "brisket", 0.0))
    wide, narrow = forecast(request(4.0, local=few)), forecast(request(4.0, local=many))
    assert wide.widened
    assert not narrow.widened
    assert _log_width(wide) > 1.15 * _log_width(narrow)


@pytest.mark.parametrize("target_c", [73.9, 95.0])
def test_without_own_cooks_the_interval_is_a_tenth_wider(target_c: float) -> None:
    asked = request(3.0, target_c=target_c)
    told, bare = forecast(asked), forecast(asked, widen=False)
    assert _log_width(told) == pytest.approx(1.1 * _log_width(bare), rel=0.02)


def test_one_odd_cook_moves_the_forecast_little() -> None:
    steady = tuple(LocalScore(f"cook-{i}", "brisket", 0.0) for i in range(6))
    odd = (*steady, LocalScore("odd", "brisket", 8.0))
    usual, moved = forecast(request(4.0, local=steady)), forecast(request(4.0, local=odd))
    assert usual.p50_s is not None
    assert moved.p50_s == pytest.approx(usual.p50_s, rel=0.05)


def test_three_late_cooks_of_this_family_move_it_more_than_three_of_another() -> None:
    late = [tuple(LocalScore(f"c{i}", cut, 1.0) for i in range(3)) for cut in ("brisket", "lamb")]
    asked = [forecast(request(4.0, local=local)).p50_s or 0 for local in late]
    assert asked[0] > asked[1] > (forecast(request(4.0)).p50_s or 0)


def test_own_cooks_that_ran_late_move_the_median_later() -> None:
    late = tuple(LocalScore(f"cook-{i}", "brisket", 1.5) for i in range(15) for _ in range(3))
    usual, moved = forecast(request(4.0)), forecast(request(4.0, local=late))
    assert usual.p50_s is not None
    assert moved.p50_s is not None
    assert moved.p50_s > usual.p50_s


def test_one_dip_of_the_lid_hardly_moves_the_estimate() -> None:
    asked = request(5.0)
    pit = np.asarray(asked.pit.value_c).copy()
    pit[270:275] -= 45.0
    opened = replace(asked, pit=Series(asked.pit.t_s, tuple(pit)))
    before, after = forecast(asked).p50_s, forecast(opened).p50_s
    assert before is not None
    assert after == pytest.approx(before, rel=0.03)


def test_a_moved_probe_is_joined_and_not_fitted_through() -> None:
    asked = request(6.0)
    core = np.asarray(asked.core.value_c).copy()
    core[:200] -= 8.0 * (core[:200] - core[0]) / (core[199] - core[0])
    moved = forecast(replace(asked, core=Series(asked.core.t_s, tuple(core)))).p50_s
    still = forecast(asked).p50_s
    assert still is not None
    assert moved == pytest.approx(still, rel=0.25)


def test_what_was_not_said_is_asked_for() -> None:
    asked = request(4.0, wrap_plan=None, thickness_mm=None, pit=Series(), set_point_c=None)
    text = " ".join(forecast(asked).ask)
    assert "wrapped" in text
    assert "thickness" in text
    assert "pit" in text
    assert forecast(request(4.0)).ask == ()


def test_a_change_of_more_than_half_an_hour_is_explained_by_the_pit() -> None:
    first = forecast(request(4.0))
    assert first.basis is not None
    assert first.basis.done_s is not None
    before = replace(first.basis, done_s=first.basis.done_s - 3600.0, pit_c=PIT_C + 12.0)
    answer = forecast(request(4.0, previous=before))
    assert answer.change == "moved by +1 h because the pit fell 12 C"


def test_a_change_is_explained_by_the_target_also_where_it_moved_by_one_degree() -> None:
    before = Basis(0.0, 60.0 * 300, 94.0, 113.0, 3.0, None)
    now = replace(before, made_s=60.0, done_s=60.0 * 360, target_c=95.0)
    asked = request(4.0, previous=before)
    answer = settled(asked, Answer("brisket-1", "pull", 60, basis=now))
    assert answer.change == "moved by +1 h because the target is now 95 C"


def test_a_small_change_says_nothing() -> None:
    first = forecast(request(4.0))
    assert forecast(request(4.0, previous=first.basis)).change == ""


def test_small_moves_within_the_hour_are_told_as_the_one_they_come_to() -> None:
    def at(minute: int, done_min: int, before: Basis | None) -> Answer:
        basis = Basis(60.0 * minute, 60.0 * done_min, 95.0, 113.0, 3.0, None)
        asked = request(4.0, previous=before)
        return settled(asked, Answer("brisket-1", "pull", 60 * minute, basis=basis))

    first = at(0, 400, None)
    second = at(10, 418, first.basis)
    third = at(20, 436, second.basis)
    assert (first.change, second.change) == ("", "")
    assert third.change.startswith("moved by +36 min because the core lags behind")
    assert at(30, 440, third.basis).change == ""
    # An hour on, slope and pit of then explain nothing any more.
    assert at(90, 418, at(70, 410, first.basis).basis).change == ""


def test_several_probes_tell_when_the_last_one_is_there() -> None:
    asked = request(5.0)
    behind = Series(asked.core.t_s, tuple(np.asarray(asked.core.value_c) * 0.9))
    answer = forecast(replace(asked, others=(behind,)))
    assert answer.last_core_s is not None
    assert answer.p50_s is not None
    assert answer.last_core_s > answer.p50_s


def test_a_log_that_began_in_mid_cook_is_answered() -> None:
    asked = request(6.0)
    late = Series(tuple(asked.core.t_s[180:]), tuple(asked.core.value_c[180:]))
    assert forecast(replace(asked, core=late)).p50_s is not None


def test_rest_on_the_pit_adds_the_rest_to_the_pull() -> None:
    pull, rest = forecast(request(4.0)), forecast(request(4.0, target="rest", rest_s=3600.0))
    assert pull.p50_s is not None
    assert rest.p50_s == pull.p50_s + 3600


def test_rest_off_the_pit_is_a_falling_core() -> None:
    t = np.arange(0.0, 3600.0, 60.0)
    core = 22.0 + 72.0 * np.exp(-t / 3600.0 / 2.4)
    asked = with_core(request(1.0, target="rest", target_c=63.0, pulled_s=0.0), t, core)
    answer = forecast(asked)
    left_h = 2.4 * np.log((core[-1] - 22.0) / (63.0 - 22.0))
    assert answer.p50_s == pytest.approx(left_h * 3600.0, rel=0.1)


@pytest.mark.parametrize("reading", [float("nan"), float("inf")])
def test_readings_that_are_no_numbers_are_left_out(reading: float) -> None:
    asked = request(4.0)
    core = list(asked.core.value_c)
    core[100] = reading
    assert forecast(replace(asked, core=Series(asked.core.t_s, tuple(core)))).p50_s is not None


def test_a_series_with_a_time_missing_is_refused() -> None:
    with pytest.raises(ValueError, match="one time for each value"):
        Series((1.0, 2.0), (1.0,))


def _until(series: Series, end_s: float) -> Series:
    n = sum(t <= end_s for t in series.t_s)
    return Series(tuple(series.t_s[:n]), tuple(series.value_c[:n]))


def _log_width(answer: object) -> float:
    p10, p90 = getattr(answer, "p10_s"), getattr(answer, "p90_s")  # noqa: B009
    return float(np.log(p90 / p10))


# -- no honest time -------------------------------------------------------------------------------


def says(asked: Request, *words: str) -> None:
    answer = forecast(asked)
    assert (answer.p10_s, answer.p50_s, answer.p90_s) == (None, None, None)
    for word in words:
        assert word in answer.reason


def test_two_readings_are_too_few() -> None:
    says(with_core(request(1.0), [3000, 3600], [20, 30]), "cannot say yet", "only 2 readings")


def test_no_reading_at_all() -> None:
    says(replace(request(1.0), core=Series()), "cannot say yet", "no readings")


def test_ten_minutes_are_too_short() -> None:
    t = np.arange(0, 600, 60)
    says(with_core(request(1.0), t, 5 + t / 200), "cannot say yet", "span 9 min")


def test_a_probe_in_air() -> None:
    t = np.arange(0, 7200, 60)
    says(with_core(request(2.0), t, np.full(len(t), PIT_C - 0.5)), "cannot say yet", "air")


def test_a_probe_that_heats_faster_than_meat() -> None:
    t = np.arange(0, 1800, 60)
    says(with_core(request(2.0), t, 20 + t / 20), "cannot say yet", "faster than meat")


def test_a_target_above_the_pit() -> None:
    asked = request(5.0, target_c=95.0)
    cold = replace(asked, pit=Series(asked.pit.t_s, tuple(np.full(len(asked.pit.t_s), 90.0))))
    says(cold, "may not reach", "above the pit", "raise the pit")
    assert forecast(cold).p_reach == 0.0


def slow_finish(pit_c: float, top_c: float) -> Request:
    """Return a bare piece after 12 h whose core creeps toward ``top_c``."""
    t = np.arange(0, 12 * 3600, 60)
    asked = with_core(request(12.0), t, top_c - (top_c - 5.0) * np.exp(-t / 9000))
    pit = Series(tuple(t), tuple(np.full(len(t), pit_c)))
    return replace(asked, wrap_plan="none", set_point_c=pit_c, pit=pit)


def test_a_pit_hardly_hotter_than_the_target_is_told_with_what_would_change_it() -> None:
    answer = forecast(slow_finish(98.0, 90.0))
    assert 0.1 < answer.p_reach < 0.7
    assert answer.p50_s is not None
    said = "may not reach 203 F at this pit temperature (208 F): 10 C more brings it forward by "
    assert answer.reason.startswith(said)


def test_a_pit_too_cool_gets_no_time_but_what_ten_degrees_would_do() -> None:
    answer = forecast(slow_finish(97.0, 78.0))
    assert answer.p50_s is None
    assert answer.p_reach < 0.1
    assert "with 10 C more in about " in answer.reason


def test_falling_temperatures() -> None:
    t = np.arange(0, 5 * 3600, 60)
    core = np.where(t < 4.5 * 3600, 5 + 15 * t / 3600, 72.5 - 8 * (t / 3600 - 4.5))
    says(with_core(request(5.0), t, core), "cannot say yet", "falling by")


def test_a_piece_put_back_on_is_answered_again_only_after_a_while() -> None:
    t = np.arange(0, 7 * 3600, 60)
    h = t / 3600
    core = np.interp(h, [0, 4, 5.5, 7], [5, 75, 55, 68])
    soon = t < 6.1 * 3600
    says(with_core(request(6.0), t[soon], core[soon]), "cannot say yet", "put back on")
    assert forecast(with_core(request(7.0), t, core)).p50_s is not None


def test_a_probe_put_into_cold_meat_is_no_piece_put_back_on() -> None:
    asked = request(2.0)
    late = np.asarray(asked.core.t_s) < 600.0
    core = np.where(late, 21.0, np.asarray(asked.core.value_c))
    whole, put_in = forecast(asked), forecast(with_core(asked, asked.core.t_s, core))
    assert whole.p50_s is not None
    assert put_in.p50_s == pytest.approx(whole.p50_s, rel=0.1)


def test_a_day_of_gaps() -> None:
    t = np.concatenate([np.arange(0, 3600, 60), 90_000 + np.arange(0, 1200, 60)])
    core = np.concatenate([5 + np.arange(60) / 3, 60 + np.arange(20) / 10])
    says(with_core(request(1.0, on_pit_s=None), t, core), "cannot say yet", "long gap")


def test_a_silent_core() -> None:
    says(replace(request(4.0), now_s=4.7 * 3600), "cannot say yet", "silent for 42 min")


def test_a_jumping_probe() -> None:
    says(request(4.0, noise_c=8.0), "cannot say yet", "jumps")


def test_a_target_that_is_no_number() -> None:
    says(request(4.0, target_c=float("nan")), "no temperature")


def test_the_basis_explains_a_lost_finish() -> None:
    asked = request(5.0)
    before = Basis(4 * 3600.0, 9 * 3600.0, 95.0, 118.0, 5.0, None)
    cold = replace(
        asked,
        pit=Series(asked.pit.t_s, tuple(np.full(len(asked.pit.t_s), 90.0))),
        previous=before,
    )
    assert "pit fell" in forecast(cold).change


def test_the_curve_of_these_tests_rises() -> None:
    assert np.all(np.diff(cook_c(np.linspace(0.01, 12, 100))) > 0)
