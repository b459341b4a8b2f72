"""What cooks say of the next, against dense matrices and against a sampler that share no code."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from pitlogger.yields.learned import kitchen
from pitlogger.yields.learned.belief import Belief, expit, logit, mixed_quantile, prior_belief
from pitlogger.yields.learned.kitchen import Part, believed, trust
from tests.benchmarks.risk_bound import realised

YIELDS = [0.482, 0.511, 0.467, 0.498, 0.525, 0.459, 0.503, 0.490]
BEFORE = prior_belief(logit(0.49), 0.20, 0.10, 4.0)


def quantile(parts: tuple[Part, ...], p: float) -> float:
    weights: dict[object, float] = {}
    for part in parts:
        following = part.belief.predictive()
        weights[following] = weights.get(following, 0.0) + part.weight
    return expit(mixed_quantile(p, weights))  # type: ignore[arg-type]


def single(yields: list[float]) -> list[list[float]]:
    return [[logit(y)] for y in yields]


COOKS = [[-0.1, 0.02, -0.05], [0.2], [0.05, 0.11], [-0.3, -0.21, -0.28, -0.2], [0.0]]


@pytest.mark.parametrize("share", [0.2, 0.6])
@pytest.mark.parametrize("drift", [0.0, 0.1])
def test_the_filter_is_the_dense_normal(share: float, drift: float) -> None:
    """Mean, variance and likelihood by one covariance matrix of all pieces (BDA3, 14.2)."""
    cook = np.repeat(np.arange(len(COOKS)), [len(c) for c in COOKS])
    y = np.concatenate([np.array(c) for c in COOKS])
    walk = drift * (np.minimum.outer(cook, cook) + 1)
    same = cook[:, None] == cook[None, :]
    cov = 1 / BEFORE.kappa + walk + share * same + (1 - share) * np.eye(len(y))
    ahead = 1 / BEFORE.kappa + drift * (cook + 1)
    off = np.linalg.solve(cov, y - BEFORE.mean)
    mean = BEFORE.mean + ahead @ off
    variance = 1 / BEFORE.kappa + drift * (len(COOKS) + 1) - ahead @ np.linalg.solve(cov, ahead)
    squares = BEFORE.sum_squares + (y - BEFORE.mean) @ off
    nu = BEFORE.nu + len(y)
    log = -0.5 * (np.linalg.slogdet(cov)[1] + nu * math.log(squares))
    seen = [kitchen._summary(c, 1.0) for c in COOKS]
    ((said, found),) = kitchen._filtered(seen, BEFORE, share, drift, may_change=False)
    assert found.mean == pytest.approx(mean)
    assert 1 / found.kappa == pytest.approx(variance)
    assert found.nu == nu
    assert found.sum_squares == pytest.approx(float(squares))
    constant = sum(math.log(len(c)) for c in COOKS)
    assert said == pytest.approx(log + 0.5 * constant)


@pytest.mark.parametrize("share", [0.2, 0.6])
def test_a_change_is_the_dense_normal_with_a_jump(share: float) -> None:
    """As above, with the mean's gain of variance from one cook on; what came before stays."""
    cook = np.repeat(np.arange(len(COOKS)), [len(c) for c in COOKS])
    y = np.concatenate([np.array(c) for c in COOKS])
    same = cook[:, None] == cook[None, :]
    seen = [kitchen._summary(c, 1.0) for c in COOKS]
    found = list(kitchen._filtered(seen, BEFORE, share, 0.0, may_change=True))
    assert len(found) == 2 + 4  # none, before the next cook, before each but the first
    places = [len(COOKS), 1, 2, 3, 4]
    for changed, (said, belief) in zip(places, found[1:], strict=True):
        after = cook >= changed
        cov = 1 / BEFORE.kappa + share * same + (1 - share) * np.eye(len(y))
        cov = cov + kitchen._CHANGE * (after[:, None] & after[None, :])
        ahead = 1 / BEFORE.kappa + kitchen._CHANGE * after
        mean = BEFORE.mean + ahead @ np.linalg.solve(cov, y - BEFORE.mean)
        variance = 1 / BEFORE.kappa + kitchen._CHANGE - ahead @ np.linalg.solve(cov, ahead)
        squares = BEFORE.sum_squares + (y - BEFORE.mean) @ np.linalg.solve(cov, y - BEFORE.mean)
        log = -0.5 * (np.linalg.slogdet(cov)[1] + (BEFORE.nu + len(y)) * math.log(squares))
        log += 0.5 * sum(math.log(len(c)) for c in COOKS) + math.log(
            kitchen._CHANGED[len(COOKS) - changed]
        )
        assert belief.mean == pytest.approx(mean)
        assert 1 / belief.kappa == pytest.approx(variance)
        assert said == pytest.approx(log)


def test_a_change_that_nobody_told_of_is_seen_by_its_cooks() -> None:
    """Twenty alike, then three a good deal lower: the next is expected near the three."""
    rng = np.random.default_rng(3)
    steady = [[float(v) for v in rng.normal(0.0, 0.08, 2)] for _ in range(20)]
    lower = [[float(v) for v in rng.normal(-0.35, 0.08, 2)] for _ in range(3)]
    middle = logit(quantile(believed([*steady, *lower], BEFORE), 0.5))
    assert -0.45 < middle < -0.22
    assert logit(quantile(believed(steady, BEFORE), 0.5)) == pytest.approx(0.0, abs=0.05)


@pytest.mark.slow
def test_the_mixture_is_what_a_sampler_finds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Random-walk Metropolis over mean, spread and day share; the next cook of six pieces."""
    monkeypatch.setattr(kitchen, "_DRIFTS", ((0.0, 1.0),))
    monkeypatch.setattr(kitchen, "_FAR", ((1.0, 1.0),))
    monkeypatch.setattr(kitchen, "_CHANGED", (0.0,))
    rng = np.random.default_rng(5)
    sizes, means = [len(c) for c in COOKS], [float(np.mean(c)) for c in COOKS]
    squares = [float(np.sum((np.array(c) - m) ** 2)) for c, m in zip(COOKS, means, strict=True)]

    def log_posterior(at: np.ndarray) -> float:
        mu, log_s, logit_r = at
        s2, r = math.exp(2 * log_s), 1 / (1 + math.exp(-logit_r))
        prior = stats.beta.logpdf(r, 2, 3) + math.log(r * (1 - r))
        prior -= 0.5 * (BEFORE.nu * 2 * log_s + BEFORE.sum_squares / s2)
        prior -= 0.5 * (math.log(s2) + BEFORE.kappa * (mu - BEFORE.mean) ** 2 / s2)
        data = 0.0
        for n, m, ss in zip(sizes, means, squares, strict=True):
            of_mean = s2 * (r + (1 - r) / n)
            own = s2 * (1 - r)
            data -= 0.5 * (math.log(of_mean) + (m - mu) ** 2 / of_mean)
            data -= 0.5 * ((n - 1) * math.log(own) + ss / own)
        return float(prior + data)

    at, draws = np.array([0.0, math.log(0.1), 0.0]), []
    now = log_posterior(at)
    for step in range(60_000):
        tried = at + rng.standard_normal(3) * (0.06, 0.25, 0.9)
        new = log_posterior(tried)
        if math.log(rng.random()) < new - now:
            at, now = tried, new
        if step > 2000 and step % 5 == 0:
            draws.append(at)
    mu, log_s, logit_r = np.array(draws).T
    s, r = np.exp(log_s), 1 / (1 + np.exp(-logit_r))
    day = rng.standard_normal(len(s)) * s * np.sqrt(r)
    own = rng.standard_normal((6, len(s))) * s * np.sqrt(1 - r)
    sampled = (1 / (1 + np.exp(-(mu + day + own)))).mean(axis=0)
    parts = believed(COOKS, BEFORE)
    assert np.mean(r) == pytest.approx(sum(p.weight * p.day_share for p in parts), abs=0.03)
    from pitlogger.yields.purchase.demand import Demand
    from pitlogger.yields.purchase.masses import PieceMass
    from pitlogger.yields.purchase.sufficiency import enough, supply

    grid = supply(parts)
    for p in (0.01, 0.05, 0.1, 0.5):
        wanted = Demand(6000.0 * float(np.quantile(sampled, p)), 0.0)
        found = enough(grid, [PieceMass(1000.0)] * 6, wanted).p_enough
        assert 1 - found == pytest.approx(p, abs=0.004 + 0.06 * p)


def test_single_pieces_without_drift_are_the_conjugate_answer(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # tests/data/shrinkage_examples.csv: m0 = 0, k0 = 0.25, v0 = 4, s0 = 0.10, n = 8, 80 %.
    monkeypatch.setattr(kitchen, "_DRIFTS", ((0.0, 1.0),))
    monkeypatch.setattr(kitchen, "_FAR", ((1.0, 1.0),))
    monkeypatch.setattr(kitchen, "_CHANGED", (0.0,))
    parts = believed(single(YIELDS), Belief(0.0, 0.25, 4.0, 0.04))
    assert quantile(parts, 0.1) == pytest.approx(0.4602, abs=5e-5)
    assert quantile(parts, 0.9) == pytest.approx(0.5241, abs=5e-5)


def test_the_share_of_the_day_is_never_nothing() -> None:
    for cooks in ([], single(YIELDS[:1]), single(YIELDS), [[0.1, 0.11, 0.09]]):
        share = sum(part.weight * part.day_share for part in believed(cooks, BEFORE))
        assert 0.2 < share < 0.7
    alike = [[0.1, -0.1, 0.05, -0.05]] * 30
    assert sum(p.weight * p.day_share for p in believed(alike, BEFORE)) < 0.15


def test_one_wild_cook_hardly_moves_the_tenth_percentile() -> None:
    plain = quantile(believed(single(YIELDS), BEFORE), 0.1)
    for wild in (0.25, 0.30, 0.70):
        cooks = single([*YIELDS[:7], wild])
        assert trust(cooks, BEFORE)[-1] < 0.1
        assert quantile(believed(cooks, BEFORE), 0.1) == pytest.approx(plain, abs=0.012)


def test_usual_cooks_are_all_believed() -> None:
    rng = np.random.default_rng(8)
    doubted = 0
    for _ in range(200):
        cooks = [[float(x)] for x in rng.normal(0.0, 0.1, 20)]
        doubted += sum(share < 0.5 for share in trust(cooks, BEFORE))
    assert doubted <= 4  # of 4 000


def test_old_cooks_fade() -> None:
    older = [0.02 * (-1) ** k for k in range(20)]
    drifted = [[x - 0.5] for x in older] + [[x] for x in older[:8]]
    assert quantile(believed(drifted, BEFORE), 0.5) == pytest.approx(0.5, abs=0.02)


def test_a_kitchen_far_from_the_prior_is_soon_believed() -> None:
    parts = believed(single([0.30, 0.31, 0.29, 0.305]), BEFORE)
    assert quantile(parts, 0.5) == pytest.approx(0.301, abs=0.01)
    assert quantile(parts, 0.9) - quantile(parts, 0.1) < 0.12


@pytest.mark.parametrize(
    ("chance", "changed", "unchanged"), [(0.04, 13.5, 4.6), (0.33, 8.1, 3.5), (0.5, 6.8, 3.2)]
)
def test_what_the_best_stands_at_where_a_change_was_not_told_is_as_the_docs_say(
    chance: float, changed: float, unchanged: float
) -> None:
    for is_changed, pct in ((True, changed), (False, unchanged)):
        found = 100 * realised(chance, changed=is_changed, kitchens=40_000)
        assert found == pytest.approx(pct, abs=0.5)
