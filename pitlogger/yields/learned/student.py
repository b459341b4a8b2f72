"""Student's t: distribution function and quantile, without a numeric library.

The command line must answer before a large library could even be loaded. The incomplete
beta function is evaluated by its continued fraction.

Source: NIST Digital Library of Mathematical Functions, 8.17.22 (continued fraction of
I_x(a, b)) and 8.17.4 (symmetry); Abramowitz and Stegun 26.7.1 (t in terms of I_x).
"""

from __future__ import annotations

import math
from statistics import NormalDist

_NORMAL = NormalDist()
_TINY = 1e-300


def incomplete_beta(a: float, b: float, x: float) -> float:
    """Return the regularised incomplete beta function I_x(a, b), for ``0 <= x <= 1``."""
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - incomplete_beta(b, a, 1.0 - x)
    front = math.exp(
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
        + a * math.log(x) + b * math.log1p(-x)
    )  # fmt: skip
    return front / a * _fraction(a, b, x)


def _fraction(a: float, b: float, x: float) -> float:
    """Evaluate the continued fraction from the front (modified Lentz)."""
    c, d = 1.0, 1.0 / _nonzero(1.0 - (a + b) * x / (a + 1.0))
    value = d
    for m in range(1, 10_000):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        change = 1.0
        for term in (even, odd):
            d = 1.0 / _nonzero(1.0 + term * d)
            c = _nonzero(1.0 + term / c)
            change = c * d
            value *= change
        if abs(change - 1.0) < 1e-15:
            break
    return value


def _nonzero(value: float) -> float:
    return value if abs(value) > _TINY else _TINY


def t_cdf(t: float, df: float) -> float:
    """Return P(T <= t) for ``df`` degrees of freedom, above 0; infinite is the normal."""
    if math.isinf(df):
        return _NORMAL.cdf(t)
    if t * t < df:  # near the middle this form keeps its digits
        return 0.5 + math.copysign(0.5 * incomplete_beta(0.5, df / 2.0, t * t / (df + t * t)), t)
    tail = 0.5 * incomplete_beta(df / 2.0, 0.5, df / (df + t * t))
    return tail if t < 0 else 1.0 - tail


def t_quantile(p: float, df: float) -> float:
    """Return the t that is exceeded with probability ``1 - p``, for ``0 < p < 1``."""
    if math.isinf(df):
        return _NORMAL.inv_cdf(p)
    if p < 0.5:
        return -t_quantile(1.0 - p, df)
    low, high = 0.0, math.inf
    t = _NORMAL.inv_cdf(p)
    for _ in range(200):  # Newton, held between what is known to lie under and over
        off = t_cdf(t, df) - p
        low, high = (t, high) if off < 0.0 else (low, t)
        step = off / _density(t, df)
        following = t - step
        if not low <= following <= high:
            following = 0.5 * (low + high) if high < math.inf else 2.0 * low + 1.0
        if abs(following - t) <= 1e-13 * max(1.0, t):
            return following
        t = following
    return t


def _density(t: float, df: float) -> float:
    log = math.lgamma((df + 1.0) / 2.0) - math.lgamma(df / 2.0) - 0.5 * math.log(df * math.pi)
    return math.exp(log - 0.5 * (df + 1.0) * math.log1p(t * t / df))
