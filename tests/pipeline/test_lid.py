"""Lid openings on the pit. All series here are our own invention."""

from __future__ import annotations

import random

import pytest
from pydantic import TypeAdapter

from pitlogger.pipeline.lid import PitTrend


def hold(pit: PitTrend, start_s: int, end_s: int, value_c: float, slope_c_per_min: float = 0.0,
         seed: int = 1) -> None:  # fmt: skip
    dice = random.Random(seed)
    for t in range(start_s, end_s, 2):
        value = value_c + slope_c_per_min * (t - start_s) / 60
        pit.update(t * 1000, round(1000 * (value + dice.gauss(0, 0.5))))


def opened(pit: PitTrend) -> None:
    hold(pit, 0, 3600, 120.0)
    hold(pit, 3600, 3660, 120.0, -35.0)
    hold(pit, 3660, 3720, 85.0)


def test_an_opening_is_recognised_within_a_minute_and_has_its_start() -> None:
    pit = PitTrend()
    opened(pit)
    assert pit.open
    assert pit.openings == 1
    assert pit.opened_ms == pytest.approx(3_600_000, abs=60_000)


def test_the_dip_is_not_fitted_through() -> None:
    pit = PitTrend()
    opened(pit)
    hold(pit, 3720, 4020, 85.0, 7.0)
    assert not pit.open
    hold(pit, 4020, 4800, 120.0)
    assert not pit.dip
    assert pit.level_mc == pytest.approx(120_000, abs=1500)
    assert pit.slope_c_per_h == pytest.approx(0.0, abs=6.0)


def test_a_shut_lid_is_told_before_the_pit_is_back() -> None:
    pit = PitTrend()
    opened(pit)
    hold(pit, 3720, 3800, 85.0, 7.0)
    assert pit.dip
    assert not pit.open


def test_a_dying_fire_is_no_lid() -> None:
    pit = PitTrend()
    hold(pit, 0, 3600, 120.0)
    hold(pit, 3600, 3600 + 40 * 60, 120.0, -1.5)
    assert pit.openings == 0
    assert pit.slope_c_per_h == pytest.approx(-90.0, abs=5.0)


def test_a_dip_that_stays_counts_as_it_is_after_fifteen_minutes() -> None:
    pit = PitTrend()
    opened(pit)
    hold(pit, 3720, 3720 + 30 * 60, 85.0)
    assert not pit.dip
    assert pit.level_mc == pytest.approx(85_000, abs=1500)


def test_lighting_the_fire_is_no_lid() -> None:
    pit = PitTrend()
    hold(pit, 0, 1200, 15.0, 5.0)
    assert pit.openings == 0


@pytest.mark.parametrize("step_s", [10, 30])
def test_slow_channels_show_openings_too(step_s: int) -> None:
    pit = PitTrend()
    for t in range(0, 3600, step_s):
        pit.update(t * 1000, 110_000)
    for t in range(3600, 3720, step_s):
        pit.update(t * 1000, 80_000)
    assert pit.openings == 1


def test_a_snapshot_goes_on_as_if_never_stopped() -> None:
    pit, twin = PitTrend(), PitTrend()
    opened(pit)
    opened(twin)
    kept = TypeAdapter(PitTrend)
    twin = kept.validate_json(kept.dump_json(twin))
    hold(pit, 3720, 5000, 85.0, 7.0)
    hold(twin, 3720, 5000, 85.0, 7.0)
    assert twin == pit
    assert kept.validate_json(kept.dump_json(pit)) == pit
