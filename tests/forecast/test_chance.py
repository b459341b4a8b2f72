"""The curve of what-if runs through the quantiles of its forecast and never falls."""

from __future__ import annotations

import random

import pytest

from pitlogger.forecast.request import Answer
from pitlogger.forecast.serve import chance_of


def test_it_runs_through_the_quantiles_and_never_falls() -> None:
    dice = random.Random(5)
    for _ in range(500):
        p10, p50, p90 = sorted(dice.randint(60, 80_000) for _ in range(3))
        reach = dice.random()
        answer = Answer("brisket-1", "pull", 0.0, p10, p50, p90, p_reach=reach)
        if p10 < p50 < p90:
            got = [chance_of(answer, at_s) / reach for at_s in (p10, p50, p90)]
            assert got == pytest.approx([0.1, 0.5, 0.9], abs=1e-6)
        curve = [chance_of(answer, at_s) for at_s in range(0, 90_000, 500)]
        assert curve == sorted(curve)
        assert curve[0] == 0.0
        assert curve[-1] <= reach


def test_without_a_middle_there_is_no_chance() -> None:
    assert chance_of(Answer("brisket-1", "pull", 0.0), 3600.0) == 0.0
