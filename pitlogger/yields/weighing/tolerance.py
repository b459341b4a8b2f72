"""What most cooks reach: a one-sided tolerance bound.

A prediction interval speaks of the next cook; this bound speaks of all to come: "at least
90 % of cooks yield more, with 95 % confidence".

Source: NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3 (tolerance intervals for a
normal distribution); the factor here is the exact one, not its approximation.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist, fmean, stdev

from pitlogger.yields.learned.belief import expit, logit

_NORMAL = NormalDist()
_NODES = 600


def one_sided_factor(n: int, content: float, confidence: float) -> float:
    """Return k so that mean less k times s is passed by ``content`` of all values.

    Solves ``P(sqrt(n) (k S - z) >= Z) = confidence`` with S^2 (n-1) chi-square and Z normal,
    which is the quantile of the non-central t over sqrt(n).

    Args:
        n: Sample size, 2 or more.
        content: Share of all values, between 0 and 1.
        confidence: Probability that the bound holds, between 0 and 1.
    """
    z, freedom = _NORMAL.inv_cdf(content), n - 1
    spread = math.sqrt(2.0 / freedom)
    low, high = -9.0 * spread - 20.0 / freedom, 7.0 * spread
    steps = [low + (high - low) * (i + 0.5) / _NODES for i in range(_NODES)]
    # Density of the logarithm of S^2, up to a constant.
    logs = [0.5 * freedom * (x - math.exp(x) + 1.0) for x in steps]
    weights = [math.exp(value) for value in logs]
    total = math.fsum(weights)
    sds = [math.exp(0.5 * x) for x in steps]

    def holds(k: float) -> float:
        terms = (
            w * _NORMAL.cdf(math.sqrt(n) * (k * s - z)) for w, s in zip(weights, sds, strict=True)
        )
        return math.fsum(terms) / total

    bottom, top = -50.0, 50.0
    while holds(top) < confidence:
        top *= 2.0
    for _ in range(80):
        middle = 0.5 * (bottom + top)
        bottom, top = (middle, top) if holds(middle) < confidence else (bottom, middle)
        if top - bottom < 1e-9:
            break
    return 0.5 * (bottom + top)


def most_exceed(
    shares: Sequence[float], content: float = 0.90, confidence: float = 0.95
) -> float | None:
    """Return the yield that ``content`` of all cooks exceed, with ``confidence``.

    Args:
        shares: Past yields, fractions strictly between 0 and 1.
        content: Share of all cooks.
        confidence: Probability that the bound holds.

    Returns:
        A fraction, or ``None`` with fewer than two cooks.
    """
    if len(shares) < 2:
        return None
    values = [logit(share) for share in shares]
    k = one_sided_factor(len(values), content, confidence)
    return expit(fmean(values) - k * stdev(values))
