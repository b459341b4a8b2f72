"""Student's t against scipy."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pitlogger.yields.learned.student import incomplete_beta, t_cdf, t_quantile

DF = [0.7, 1, 2, 3, 4, 7, 12.5, 21, 100, 5000]
P = [1e-6, 0.005, 0.05, 0.1, 0.3, 0.5, 0.77, 0.9, 0.975, 0.9995]


@pytest.mark.parametrize("df", DF)
def test_quantile_agrees_with_scipy(df: float) -> None:
    for p in P:
        assert t_quantile(p, df) == pytest.approx(stats.t.ppf(p, df), rel=1e-8, abs=1e-9)


def test_infinite_degrees_of_freedom_are_the_normal() -> None:
    assert t_quantile(0.975, float("inf")) == pytest.approx(1.959963984540054)
    assert t_cdf(1.0, float("inf")) == pytest.approx(stats.norm.cdf(1.0))


@given(t=st.floats(-50, 50), df=st.floats(0.5, 500))
def test_distribution_function_agrees_with_scipy(t: float, df: float) -> None:
    assert t_cdf(t, df) == pytest.approx(stats.t.cdf(t, df), abs=1e-10)


@pytest.mark.parametrize("x", [-0.1, 0.0, 1.0, 1.2])
def test_incomplete_beta_is_clipped_to_its_ends(x: float) -> None:
    assert incomplete_beta(2, 3, x) == (0.0 if x <= 0 else 1.0)
