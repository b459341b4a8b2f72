"""Trend: level, slope, stall, probe moves. All series here are our own invention."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.pipeline.trend import Trend

MIN = 60_000


def ramp(
    trend: Trend, start_s: int, end_s: int, from_c: float, c_per_h: float, noise_c: float = 0.0,
    step_s: int = 1, seed: int = 1,
) -> float:  # fmt: skip
    """Feed a ramp and return the temperature it ends at."""
    dice = random.Random(seed)
    value = from_c
    for t in range(start_s, end_s, step_s):
        value = from_c + c_per_h * (t - start_s) / 3600
        trend.update(t * 1000, round(1000 * (value + dice.gauss(0, noise_c))))
    return value


def test_level_is_known_with_the_first_reading() -> None:
    trend = Trend()
    trend.update(0, 20_000)
    assert trend.level_mc == 20_000
    assert trend.slope_c_per_h is None


@pytest.mark.parametrize("step_s", [1, 7, 30, 60, 240])
def test_slope_is_found_at_any_interval(step_s: int) -> None:
    trend = Trend()
    ramp(trend, 0, 3600, 30.0, 12.0, step_s=step_s)
    assert trend.slope_c_per_h == pytest.approx(12.0, abs=0.6)


def test_slope_of_a_noisy_stall_is_within_one_degree_an_hour() -> None:
    trend = Trend()
    ramp(trend, 0, 3600, 68.0, 2.0, noise_c=0.5)
    assert trend.slope_c_per_h == pytest.approx(2.0, abs=1.0)


def test_slope_is_unknown_before_eight_minutes() -> None:
    trend = Trend()
    ramp(trend, 0, 7 * 60, 30.0, 12.0)
    assert trend.slope_c_per_h is None


def test_a_quarter_of_wild_readings_moves_neither_level_nor_slope() -> None:
    trend, dice = Trend(), random.Random(3)
    for t in range(3600):
        wild = dice.random() < 0.05
        trend.update(t * 1000, 150_000 if wild else 60_000 + t * 2)
    assert trend.level_mc == pytest.approx(67_200, abs=100)
    assert trend.slope_c_per_h == pytest.approx(7.2, abs=0.3)


def test_a_step_meat_cannot_make_is_a_moved_probe_and_starts_anew() -> None:
    trend = Trend()
    ramp(trend, 0, 3600, 60.0, 6.0)
    ramp(trend, 3600, 3700, 74.0, 6.0)
    assert trend.moves == 1
    assert trend.moved_ms == pytest.approx(3_630_000, abs=10_000)
    assert trend.slope_c_per_h is None
    ramp(trend, 3700, 5400, 74.2, 6.0)
    assert trend.slope_c_per_h == pytest.approx(6.0, abs=0.3)
    assert trend.moves == 1


def test_a_spike_of_twenty_seconds_is_forgotten() -> None:
    trend = Trend()
    ramp(trend, 0, 3600, 60.0, 6.0)
    ramp(trend, 3600, 3620, 90.0, 0.0)
    ramp(trend, 3620, 3700, 66.0, 6.0)
    assert trend.moves == 0
    assert trend.level_mc == pytest.approx(66_100, abs=100)


def test_a_gap_of_twenty_minutes_is_bridged_and_one_of_a_day_is_not() -> None:
    trend = Trend()
    end = ramp(trend, 0, 3600, 60.0, 6.0)
    ramp(trend, 4800, 4980, end + 2.0, 6.0)
    assert trend.slope_c_per_h == pytest.approx(6.0, abs=0.5)
    ramp(trend, 90_000, 90_120, 20.0, 0.0)
    assert trend.slope_c_per_h is None
    assert trend.moves == 0


def test_stall_begins_within_30_minutes_and_ends_within_25() -> None:
    trend = Trend()
    top = ramp(trend, 0, 3 * 3600, 8.0, 20.0, 0.25)
    assert not trend.stalled
    top = ramp(trend, 10_800, 12_600, top, 2.0, 0.25, seed=2)
    assert trend.stalled
    top = ramp(trend, 12_600, 20_000, top, 2.0, 0.25, seed=3)
    assert trend.stalled
    ramp(trend, 20_000, 21_500, top, 9.0, 0.25, seed=4)
    assert not trend.stalled


def test_creeping_to_the_target_is_no_stall() -> None:
    trend = Trend()
    ramp(trend, 0, 2 * 3600, 90.0, 2.0, 0.25)
    assert not trend.stalled


def test_falling_off_the_pit_is_no_stall() -> None:
    trend = Trend()
    ramp(trend, 0, 2 * 3600, 80.0, -8.0, 0.25)
    assert not trend.stalled


def test_a_steady_rise_through_the_band_raises_no_false_stall() -> None:
    false = 0
    for seed in range(10):
        trend = Trend()
        dice = random.Random(seed)
        for t in range(0, 5 * 3600, 5):
            trend.update(t * 1000, round(48_000 + t * 7 / 3.6 + dice.gauss(0, 500)))
            false += trend.stalled
    assert false == 0


@given(st.lists(st.tuples(st.integers(0, 600), st.integers(-20_000, 250_000)), max_size=300))
def test_a_snapshot_goes_on_as_if_never_stopped(steps: list[tuple[int, int]]) -> None:
    whole, t = Trend(), 0
    half = Trend()
    for index, (dt, value) in enumerate(steps):
        t += dt * 1000
        whole.update(t, value)
        half.update(t, value)
        if index == len(steps) // 2:
            half = Trend(**half.snapshot())
    assert half.snapshot() == whole.snapshot()


def test_memory_stays_small_however_long_the_cook() -> None:
    trend = Trend()
    ramp(trend, 0, 20 * 3600, 5.0, 4.0, step_s=5)
    held = trend.snapshot()
    assert sum(len(v) for v in held.values() if isinstance(v, list)) < 100
