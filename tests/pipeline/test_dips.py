"""Lids found by the shape of the pit's dips. All series here are our own invention."""

from __future__ import annotations

import random

import pytest

from pitlogger.pipeline.lid import PitTrend

Leg = tuple[float, float]  # until when, minutes, and at what pit temperature then


def read(legs: list[Leg], every_s: int = 10, noise_c: float = 0.5) -> PitTrend:
    """Return what became of a pit that runs straight from leg to leg."""
    pit, dice = PitTrend(), random.Random(1)
    from_min, from_c = 0.0, legs[0][1]
    for until_min, until_c in legs:
        for at_s in range(round(from_min * 60), round(until_min * 60), every_s):
            share = (at_s / 60 - from_min) / (until_min - from_min)
            value_c = from_c + share * (until_c - from_c) + dice.gauss(0, noise_c)
            pit.update(at_s * 1000, round(value_c * 1000))
        from_min, from_c = until_min, until_c
    return pit


def opened_min(pit: PitTrend) -> list[float]:
    return [round(at_ms / 60_000, 1) for at_ms, _, _ in pit.dips.found]


def test_a_shallow_slow_dip_is_a_lid() -> None:
    pit = read([(60, 108), (62.5, 90), (72, 105), (90, 106)])
    assert opened_min(pit) == pytest.approx([60.0], abs=1.0)
    assert pit.dips.found[0][1] == pytest.approx(130_000, abs=40_000)


@pytest.mark.parametrize("every_s", [10, 30])
def test_a_lid_opened_while_the_pit_still_comes_back_is_another(every_s: int) -> None:
    pit = read([(60, 126), (60.5, 96), (67, 121), (69, 84), (80, 120)], every_s)
    assert opened_min(pit) == pytest.approx([60.0, 67.0], abs=0.7)


def test_a_pit_that_swings_or_flares_or_dies_is_no_lid() -> None:
    assert not opened_min(read([(60, 120), (67, 105), (75, 125), (82, 105)]))  # a swing
    assert not opened_min(read([(60, 115), (60.5, 112), (90, 112)]))  # a door
    assert not opened_min(read([(60, 120), (62, 108), (90, 60)]))  # it goes out


def test_a_restless_fire_needs_a_deeper_dip() -> None:
    assert not opened_min(read([(240, 110)], noise_c=4.0))
    assert opened_min(read([(120, 110), (121, 60), (126, 108)], noise_c=4.0))


def test_a_lid_is_told_once_shut() -> None:
    pit = read([(60, 120), (61, 80)])
    assert not pit.dips.found
    for at_s in range(3660, 3900, 10):
        pit.update(at_s * 1000, 110_000)
    assert opened_min(pit) == pytest.approx([60.0], abs=0.5)
