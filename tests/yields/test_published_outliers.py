"""How far a cook is believed, on data whose outliers are published: none is hidden by another.

Both data sets are those of the NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.17
(figures from memory): the eight mass-spectrometer readings of its page on Grubbs' test, with one
outlier, and Rosner's 54 of its page on the generalised ESD test, where three outliers mask one
another: tested one or two at a time, none shows.
"""

from __future__ import annotations

import random
from statistics import median

import pytest

from pitlogger.yields.learned.belief import prior_belief
from pitlogger.yields.learned.kitchen import trust

ONE = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
ROSNER = [
    -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56, 1.58, 1.65,
    1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10, 2.14, 2.15, 2.23, 2.24,
    2.26, 2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92, 2.92, 2.93, 3.21, 3.26, 3.30, 3.59,
    3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
]  # fmt: skip
BEFORE = prior_belief(0.0, 0.2, 0.10, 4.0)


def trusted(values: list[float]) -> dict[float, float]:
    """Return how far each value is believed, as cooks that differ as a kitchen's usually do."""
    middle = median(values)
    spread = 1.4826 * median(abs(value - middle) for value in values)
    found = trust([[0.12 * (value - middle) / spread] for value in values], BEFORE)
    return dict(zip(values, found, strict=True))


@pytest.mark.parametrize("seed", range(5))
def test_the_one_outlier_of_grubbs_counts_for_nothing_and_all_others_whole(seed: int) -> None:
    values = random.Random(seed).sample(ONE, len(ONE))
    found = trusted(values)
    assert found.pop(245.57) < 0.01
    assert min(found.values()) > 0.95


@pytest.mark.parametrize("seed", range(5))
def test_rosners_three_outliers_do_not_mask_one_another(seed: int) -> None:
    """Mild as they are they count almost whole; twice as far off, none of them does."""
    middle = median(ROSNER)
    further = [value if value < 5 else middle + 2.0 * (value - middle) for value in ROSNER]
    found = trusted(random.Random(seed).sample(further, len(further)))
    three = sorted(found, reverse=True)[:3]
    assert max(found[value] for value in three) < 0.05
    assert sum(one > 0.95 for one in found.values()) >= len(found) - 4
