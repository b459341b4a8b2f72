"""One-sided tolerance bounds against NIST/SEMATECH 7.2.6.3 and scipy's non-central t.

tests/data/prediction_interval_examples.csv holds the yield list's bounds.
"""

import math

import pytest
from scipy import stats

from pitlogger.yields.weighing.tolerance import most_exceed, one_sided_factor

YIELDS = [0.482, 0.511, 0.467, 0.498, 0.525, 0.459, 0.503, 0.490]


@pytest.mark.parametrize("n", [2, 3, 8, 43, 200])
@pytest.mark.parametrize(("content", "confidence"), [(0.9, 0.99), (0.8, 0.9), (0.9, 0.95)])
def test_the_factor_is_the_exact_one(n: int, content: float, confidence: float) -> None:
    shift = stats.norm.ppf(content) * math.sqrt(n)
    exact = stats.nct.ppf(confidence, n - 1, shift) / math.sqrt(n)
    assert one_sided_factor(n, content, confidence) == pytest.approx(exact, rel=1e-5)


def test_the_handbook_example_lies_beside_its_approximation() -> None:
    # Natrella's approximation in the handbook: 1.8752; exact 1.8740.
    assert one_sided_factor(43, 0.90, 0.99) == pytest.approx(1.8740, abs=5e-5)


@pytest.mark.parametrize(
    ("content", "confidence", "bound"), [(0.9, 0.95, 0.4350343), (0.8, 0.9, 0.4567414)]
)
def test_most_cooks_exceed_the_published_bound(
    content: float, confidence: float, bound: float
) -> None:
    assert most_exceed(YIELDS, content, confidence) == pytest.approx(bound, abs=1e-6)


def test_one_cook_has_no_bound() -> None:
    assert most_exceed(YIELDS[:1]) is None
