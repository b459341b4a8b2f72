"""The scores that the table of the docs is made of."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from tests.benchmarks.forecast_methods import FINE, crps, fifths


def test_the_score_of_a_normal_forecast_is_the_closed_form() -> None:
    """``s (w (2 F(w) - 1) + 2 f(w) - 1/sqrt(pi))``, Gneiting and Raftery 2007, for w = (x-m)/s."""
    places = (np.arange(4000) + 0.5) / 4000
    for x in (-1.0, 0.0, 2.5):
        told = norm.ppf(places)[:, None]
        closed = x * (2 * norm.cdf(x) - 1) + 2 * norm.pdf(x) - 1 / np.sqrt(np.pi)
        assert crps(told, np.array([x]))[0] == pytest.approx(closed, abs=2e-3)


def test_a_sure_forecast_is_scored_by_its_error() -> None:
    assert crps(np.full((5, 1), 3.0), np.array([5.0]))[0] == pytest.approx(2.0)


def test_truths_of_a_right_forecast_fall_evenly_into_its_fifths() -> None:
    told = norm.ppf(np.array(FINE))[:, None] + np.zeros((1, 4000))
    came = np.random.default_rng(2).normal(size=4000)
    assert fifths(told, came) == pytest.approx((20,) * 5, abs=2)
    late = fifths(told + 1.0, came)
    assert late[0] > 40
    assert late[-1] < 10
