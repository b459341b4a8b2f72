"""Prediction and shrinkage against published and computed examples.

tests/data/prediction_interval_examples.csv: Montgomery and Runger, Applied Statistics and
Probability for Engineers 3e, p. 269, and rows computed with scipy. shrinkage_examples.csv and
empirical_bayes_check.csv: Bayesian Data Analysis 3e, computed with scipy, numpy, statsmodels.
"""

import csv
import math
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from pitlogger.yields.learned.belief import FLAT, Belief, expit, logit, prior_belief
from pitlogger.yields.learned.shrinkage import heterogeneity, shrink, tau_squared

DATA = Path(__file__).parents[1] / "data"
SCALES: dict[str, tuple[Callable[[float], float], Callable[[float], float]]] = {
    "identity": (float, float),
    "log": (math.log, math.exp),
    "logit": (logit, expit),
}
LEVEL = {"80% two-sided next": 0.9, "95% two-sided next": 0.975}


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((DATA / name).read_text("utf-8").splitlines()))


NEXT = [r for r in rows("prediction_interval_examples.csv") if "two-sided next" in r["quantity"]]


def belief_of(row: dict[str, str]) -> Belief:
    """Build the belief a row describes: a list of values, or n, mean and s."""
    to = SCALES[row["scale"]][0]
    if match := re.fullmatch(r"n=(\d+) mean=([\d.]+) s=([\d.]+)", row["input"]):
        n, mean, s = int(match[1]), float(match[2]), float(match[3])
        return Belief(mean, n, n - 1, (n - 1) * s**2)
    return FLAT.updated([to(float(value)) for value in row["input"].split(";")])


@pytest.mark.parametrize("row", NEXT, ids=lambda r: f"{r['case']}-{r['scale']}-{r['quantity']}")
def test_the_next_value_lies_in_the_published_interval(row: dict[str, str]) -> None:
    back = SCALES[row["scale"]][1]
    p = next(level for words, level in LEVEL.items() if row["quantity"].startswith(words))
    following = belief_of(row).predictive()
    assert back(following.quantile(1 - p)) == pytest.approx(float(row["lower_or_first"]), abs=2e-6)
    assert back(following.quantile(p)) == pytest.approx(float(row["upper_or_second"]), abs=2e-6)


def test_the_mean_of_the_next_five_is_narrower() -> None:
    row = next(
        r for r in rows("prediction_interval_examples.csv") if "mean of the next 5" in r["quantity"]
    )
    following = belief_of(row).predictive(of_mean=5)
    assert expit(following.quantile(0.1)) == pytest.approx(float(row["lower_or_first"]), abs=1e-6)
    assert expit(following.quantile(0.9)) == pytest.approx(float(row["upper_or_second"]), abs=1e-6)


YIELDS = [0.482, 0.511, 0.467, 0.498, 0.525, 0.459, 0.503, 0.490]
UNKNOWN_SIGMA = [r for r in rows("shrinkage_examples.csv") if "unknown sigma" in r["model"]]


@pytest.mark.parametrize("row", UNKNOWN_SIGMA, ids=lambda r: f"n={r['n']}")
def test_the_conjugate_update_agrees_with_the_example(row: dict[str, str]) -> None:
    start = prior_belief(0.0, between=0.20, within=0.10, df=4)
    following = start.updated([logit(y) for y in YIELDS[: int(row["n"])]]).predictive()
    assert following.centre == pytest.approx(float(row["posterior_mean_logit"]), abs=1e-7)
    assert following.scale == pytest.approx(float(row["predictive_scale_logit"]), abs=1e-7)
    assert expit(following.quantile(0.1)) == pytest.approx(float(row["lower_80"]), abs=1e-6)
    assert expit(following.quantile(0.9)) == pytest.approx(float(row["upper_80"]), abs=1e-6)


@pytest.mark.parametrize("values", [[], [0.5], [0.5, 0.5]])
def test_without_a_prior_two_different_values_are_needed(values: list[float]) -> None:
    with pytest.raises(ValueError, match="without a prior"):
        FLAT.updated(values).predictive()


SCHOOLS = [28.0, 8, -3, 7, -1, 1, 18, 12]
VARIANCES = [se**2 for se in (15.0, 10, 16, 11, 9, 11, 10, 18)]


def school_rows(name: str) -> list[float]:
    found = next(r for r in rows("empirical_bayes_check.csv") if r["quantity"] == name)
    return [float(v) for v in found["value"].split(";")]


def test_a_negative_moment_estimate_is_cut_off_and_pools_completely() -> None:
    pooled = shrink(SCHOOLS, VARIANCES)
    assert tau_squared(SCHOOLS, VARIANCES) == 0.0
    assert pooled.mean == pytest.approx(school_rows("complete pooling mean")[0], abs=1e-6)
    assert pooled.variance == pytest.approx(school_rows("complete pooling variance")[0], abs=1e-6)
    assert set(pooled.groups) == {pooled.mean}


@pytest.mark.parametrize("tau", [5, 10])
def test_group_means_are_drawn_to_the_common_mean(tau: int) -> None:
    pooled = shrink(SCHOOLS, VARIANCES, float(tau))
    assert pooled.mean == pytest.approx(school_rows(f"tau={tau}: mu")[0], abs=1e-6)
    assert pooled.groups == pytest.approx(school_rows(f"tau={tau}: theta"), abs=1e-4)


def test_heterogeneity_and_spread_agree_with_statsmodels() -> None:
    means, variances = [0.1, 0.5, -0.2, 0.9], [0.02, 0.05, 0.03, 0.04]
    theirs = combine_effects(np.array(means), np.array(variances), method_re="dl")
    assert tau_squared(means, variances) == pytest.approx(theirs.tau2)
    assert heterogeneity(means, variances) == pytest.approx(theirs.q)


@pytest.mark.slow
def test_the_flat_prediction_is_that_of_statsmodels() -> None:
    """Prediction (not confidence) interval of a constant model, ordinary least squares."""
    api = pytest.importorskip("statsmodels.api")
    values = [logit(y) for y in (0.482, 0.511, 0.467, 0.498, 0.525, 0.459, 0.503, 0.490)]
    fitted = api.OLS(values, [[1.0]] * len(values)).fit()
    own = FLAT.updated(values).predictive()
    for alpha in (0.2, 0.05):
        frame = fitted.get_prediction([[1.0]]).summary_frame(alpha=alpha)
        assert own.quantile(alpha / 2) == pytest.approx(frame["obs_ci_lower"][0], abs=1e-9)
        assert own.quantile(1 - alpha / 2) == pytest.approx(frame["obs_ci_upper"][0], abs=1e-9)
