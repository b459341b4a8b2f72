"""What a kitchen's cooks say of its next one: its mean, its days, its drift, its wild cooks.

Pieces of one cook share its day. The share of the variance that belongs to the day is never
known well, so every share counts as far as the cooks make it likely, from a prior about 0.4
(Beta(2, 3), worth about three cooks of several pieces: judgement). The mean may wander from
cook to cook, so that old cooks fade; how fast is learned the same way. It may also have changed
at once, at one of the last cooks. A kitchen may lie far from the published prior. Given these the
belief is conjugate, and the mean follows a Kalman filter in units of the unknown variance; the
answer is a mixture of such beliefs, weighed by their marginal likelihood.

A cook far from all others near it (a forgotten tare, a wrong unit, a fire) counts as little as
it is likely to be one of them: contamination by a wide normal, against Student's t about the
median of its neighbours.

Source: Gelman et al., Bayesian Data Analysis, 3rd edition, chapters 3 and 5 (chapters from memory);
West and Harrison, Bayesian Forecasting and Dynamic Models, section 2.5 (unknown variance, from
memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from statistics import median

from pitlogger.yields.learned.belief import Belief

_DAY_SHARES = (0.08, 0.22, 0.38, 0.54, 0.70, 0.86, 0.96)
# Variance that the mean gains from cook to cook, as a share of the variance of a piece.
_DRIFTS = ((0.0, 0.55), (0.02, 0.25), (0.1, 0.20))
# Something changed at one of the last cooks and nobody said so (another supplier, another pit):
# how likely at the next one and at each before it, the last first (one long ago was likelier told
# since), and the variance that the mean gains, in variances of a piece. Judgement.
_CHANGED, _CHANGE = (0.12, 0.20, 0.14, 0.11, 0.09, 0.08, 0.08), 1.0
# How much further than the prior says a kitchen may lie from it.
_FAR = ((1.0, 0.85), (3.0, 0.15))
_LEAST_WEIGHT = 0.01
_WILD, _WILD_SD, _WILD_DF = 0.04, 0.8, 20.0
_ENOUGH_TO_SEE_WILD, _NEIGHBOURS = 4, 5


@dataclass(frozen=True, slots=True)
class Part:
    """One belief of a mixture; pieces of one cook share ``day_share`` of the variance."""

    weight: float
    belief: Belief
    day_share: float


@dataclass(frozen=True, slots=True)
class _Cook:
    """Pieces of one cook: number, mean, squares about it, and how far it is believed (0 to 1)."""

    n: int
    mean: float
    squares: float
    trust: float


def believed(
    cooks: Sequence[Sequence[float]], before: Belief, trusts: Sequence[float] | None = None
) -> tuple[Part, ...]:
    """Return the mixture of beliefs after these cooks, its weights adding up to 1.

    Args:
        cooks: The values of each cook, the oldest first.
        before: A proper belief.
        trusts: How far each cook is believed, where that is known already.
    """
    trusts = trust(cooks, before) if trusts is None else trusts
    seen = [_summary(cook, believed_in) for cook, believed_in in zip(cooks, trusts, strict=True)]
    shares = list(zip(_DAY_SHARES, map(_prior_of_share, _DAY_SHARES), strict=True))
    single = all(cook.n == 1 for cook in seen)  # then the cooks tell nothing of the share
    drifts, kitchens = (_DRIFTS if len(seen) > 1 else _DRIFTS[:1]), (_FAR if seen else _FAR[:1])
    told: dict[float, list[tuple[float, Belief]]] = {share: [] for share in _DAY_SHARES}
    for (drift, p_drift), (far, p_far) in product(drifts, kitchens):
        start = replace(before, kappa=before.kappa / far**2)
        found = None
        for share, p_share in shares:
            if found is None or not single:
                may_change = drift == 0.0 and far == 1.0 and len(seen) > 1
                found = list(_filtered(seen, start, share, drift, may_change=may_change))
            log_prior = math.log(p_drift * p_far * p_share)
            told[share] += [(log_prior + log, belief) for log, belief in found]
    return _mixed(told)


def _prior_of_share(share: float) -> float:
    return share * (1.0 - share) ** 2  # Beta(2, 3): mean 0.4


def _mixed(told: Mapping[float, Sequence[tuple[float, Belief]]]) -> tuple[Part, ...]:
    """Return one part for each day share that is likely, matched by mean and variance."""
    most = max(log for beliefs in told.values() for log, _ in beliefs)
    parts = []
    for share, beliefs in told.items():
        weighed = [(math.exp(log - most), belief) for log, belief in beliefs]
        parts.append(Part(math.fsum(weight for weight, _ in weighed), _matched(weighed), share))
    total = math.fsum(part.weight for part in parts)
    kept = [part for part in parts if part.weight > _LEAST_WEIGHT * total]
    total = math.fsum(part.weight for part in kept)
    return tuple(replace(part, weight=part.weight / total) for part in kept)


def _matched(weighed: Sequence[tuple[float, Belief]]) -> Belief:
    """Return the belief with the mean and variances of a mixture of equally many freedoms."""
    total = math.fsum(weight for weight, _ in weighed) or 1.0
    shares = [(weight / total, belief) for weight, belief in weighed]
    mean = math.fsum(w * belief.mean for w, belief in shares)
    within2 = math.fsum(w * belief.spread**2 for w, belief in shares)
    of_mean2 = math.fsum(
        w * (belief.spread**2 / belief.kappa + (belief.mean - mean) ** 2) for w, belief in shares
    )
    nu = weighed[0][1].nu
    return Belief(mean, within2 / of_mean2, nu, nu * within2)


def _summary(cook: Sequence[float], believed_in: float) -> _Cook:
    mean = math.fsum(cook) / len(cook)
    return _Cook(len(cook), mean, math.fsum((y - mean) ** 2 for y in cook), believed_in)


@dataclass(slots=True)
class _Filter:
    """A Kalman filter of a kitchen's mean, in units of the variance of a piece."""

    share: float
    drift: float
    mean: float
    variance: float
    nu: float
    squares: float
    log: float = 0.0

    def see(self, cook: _Cook) -> None:
        own = 1.0 - self.share
        variance = self.variance + self.drift
        total = variance + (self.share + own / cook.n) / cook.trust
        off = cook.mean - self.mean
        self.squares += off * off / total + cook.trust * cook.squares / own
        self.nu += cook.n * cook.trust
        self.log -= 0.5 * cook.trust * (math.log(total) + (cook.n - 1) * math.log(own))
        gain = variance / total
        self.mean += gain * off
        self.variance = variance - gain * variance

    def told(self) -> tuple[float, Belief]:
        """Return the log likelihood, but for constants, and the belief of the next cook."""
        log = self.log - 0.5 * self.nu * math.log(self.squares)
        return log, Belief(self.mean, 1.0 / (self.variance + self.drift), self.nu, self.squares)


def _filtered(
    cooks: Sequence[_Cook], before: Belief, share: float, drift: float, *, may_change: bool
) -> Iterator[tuple[float, Belief]]:
    """Yield the belief after the cooks and how likely it is; also had something changed lately."""
    now = _Filter(share, drift, before.mean, 1.0 / before.kappa, before.nu, before.sum_squares)
    back = min(len(_CHANGED), len(cooks)) - 1 if may_change else 0
    earlier: list[_Filter] = []
    for number, cook in enumerate(cooks):
        if len(cooks) - number <= back:
            earlier.append(replace(now))
        now.see(cook)
    log, belief = now.told()
    if not back:
        yield log, belief
        return
    yield log + math.log1p(-math.fsum(_CHANGED[: back + 1])), belief
    yield log + math.log(_CHANGED[0]), replace(belief, kappa=1.0 / (now.variance + _CHANGE))
    for after, other in enumerate(earlier, len(cooks) - back):
        other.variance += _CHANGE
        for cook in cooks[after:]:
            other.see(cook)
        log, belief = other.told()
        yield log + math.log(_CHANGED[len(cooks) - after]), belief


def trust(cooks: Sequence[Sequence[float]], before: Belief) -> list[float]:
    """Return how far each cook is believed, 1 but for those far from all cooks near them."""
    means = [math.fsum(cook) / len(cook) for cook in cooks]
    if len(means) < _ENOUGH_TO_SEE_WILD:
        return [1.0] * len(means)
    offs = [abs(mean - _near(means, k)) for k, mean in enumerate(means)]
    spread2 = (1.4826 * median(offs)) ** 2
    scale2 = (before.nu * before.spread**2 + len(means) * spread2) / (before.nu + len(means))
    return [_one_of_them(off, math.sqrt(scale2)) for off in offs]


def _near(means: Sequence[float], k: int) -> float:
    """Return the median of the cooks around one, without it."""
    low = max(0, min(k - _NEIGHBOURS, len(means) - 2 * _NEIGHBOURS - 1))
    around = range(low, min(len(means), low + 2 * _NEIGHBOURS + 1))
    return median(means[j] for j in around if j != k)


def _one_of_them(off: float, scale: float) -> float:
    """Return twice the probability that a cook is one of the others, at most 1."""
    df = _WILD_DF
    log_t = math.lgamma((df + 1) / 2) - math.lgamma(df / 2) - 0.5 * math.log(df * math.pi)
    log_t -= (df + 1) / 2 * math.log1p((off / scale) ** 2 / df)
    usual = (1.0 - _WILD) * math.exp(log_t) / scale
    wild = _WILD * math.exp(-0.5 * (off / _WILD_SD) ** 2) / (_WILD_SD * math.sqrt(2 * math.pi))
    return min(1.0, 2.0 * usual / (usual + wild))


def in_common(parts: Sequence[Part]) -> float:
    """Return which share of a yield's variance the pieces of the next cook have in common."""
    shared = own = 0.0
    for part in parts:
        variance = part.weight * part.belief.spread**2
        shared += variance * (part.day_share + 1.0 / part.belief.kappa)
        own += variance * (1.0 - part.day_share)
    return shared / (shared + own)
