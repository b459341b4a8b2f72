"""Own cooks against the posterior by brute force: a judge that shares no code with the product."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from pitlogger.forecast.blend import FAMILY_OFFSETS, OFFSETS, SPREAD_COOKS, Known, pooled
from pitlogger.model.journal import LocalScore

USUAL = np.zeros((8, 30))


def cooks(*scores: float, family: str = "brisket") -> list[LocalScore]:
    """Return one score a cook."""
    return [LocalScore(f"{family}-{i}", family, z) for i, z in enumerate(scores)]


def by_brute_force(scores: list[float], spreads: np.ndarray) -> float:
    """Return the posterior mean of the offset on a grid, for scores without outliers."""
    grid = np.linspace(-6.0, 6.0, 6_001)
    prior = sum(norm.pdf(grid, 0.0, spread) for spread in spreads)
    about = np.array(scores) - np.median(scores)
    noise = (SPREAD_COOKS + (about**2).sum()) / (SPREAD_COOKS + len(scores))
    density = prior * norm.pdf(np.mean(scores), grid, np.sqrt(noise / len(scores)))
    return float((grid * density).sum() / density.sum())


def test_the_offset_is_the_posterior_mean_over_hundreds_of_kitchens() -> None:
    dice = np.random.default_rng(5)
    for _ in range(300):
        scores = dice.normal(dice.normal(0.0, 1.0), 0.5, dice.integers(1, 20)).clip(-3.5, 3.5)
        if np.ptp(scores) > 1.4:
            continue
        told = pooled(cooks(*scores), "lamb", USUAL, None).offset
        assert told == pytest.approx(by_brute_force(list(scores), OFFSETS), abs=2e-3)


def test_a_family_is_drawn_toward_its_kitchen_by_the_same_rule() -> None:
    both = cooks(0.9, 1.1, 1.0) + cooks(0.1, -0.1, 0.0, family="lamb")
    kitchen = by_brute_force([0.9, 1.1, 1.0, 0.1, -0.1, 0.0], OFFSETS)
    more = by_brute_force([0.9 - kitchen, 1.1 - kitchen, 1.0 - kitchen], FAMILY_OFFSETS)
    assert pooled(both, "brisket", USUAL, None).offset == pytest.approx(kitchen + more, abs=2e-3)


def test_no_cook_moves_nothing() -> None:
    assert pooled([], "brisket", USUAL, 1.0) == Known()


def test_cooks_that_agree_move_more_than_as_many_that_do_not() -> None:
    agree, differ = cooks(1.0, 1.0, 1.0), cooks(-1.0, 1.0, 3.0)
    moved = [pooled(some, "lamb", USUAL, None).offset for some in (agree, differ)]
    assert moved[0] > moved[1] > 0.0


def test_one_cook_moves_little_and_fifteen_that_agree_nearly_all_the_way() -> None:
    moved = [pooled(cooks(*([1.2] * n)), "lamb", USUAL, None).offset for n in (1, 3, 15)]
    assert 0.0 < moved[0] < 0.6 < moved[1] < moved[2]
    assert moved[2] == pytest.approx(1.2, abs=0.15)


def test_what_the_library_does_at_all_times_is_no_kitchens_offset() -> None:
    """Where the library's own scores lie at 0.4, cooks at 0.4 are as usual."""
    assert pooled(cooks(0.4, 0.4, 0.4), "lamb", USUAL + 0.4, None).offset == pytest.approx(0.0)


def test_late_moments_teach_late_ones_and_early_ones_early_ones() -> None:
    own = [
        LocalScore(f"c{i}", "brisket", z, "p", log_h)
        for i in range(6)
        for z, log_h in ((-1.0, np.log(8.0)), (1.0, np.log(1.0)))
    ]
    early, late = (pooled(own, "brisket", USUAL, np.log(h)).offset for h in (8.0, 1.0))
    assert early < -0.5 < 0.5 < late


def test_scores_of_earlier_records_that_do_not_say_when_count_alike() -> None:
    own = [LocalScore("c", "brisket", z) for z in (0.2, 0.4, 0.6)]
    assert pooled(own, "brisket", USUAL, 1.0) == pooled(own, "brisket", USUAL, -1.0)


def test_cooks_that_differ_more_than_the_librarys_widen_the_interval() -> None:
    even, odd = (pooled(cooks(*z), "lamb", USUAL, None).scale for z in ([0.0] * 9, [-2.5, 2.5] * 5))
    assert even < 1.0 < odd
