"""Groups that borrow from each other: cuts of a family, levels of a factor.

Source: Gelman et al., Bayesian Data Analysis, 3rd edition, sections 5.4 and 5.5 (section
numbers from memory); DerSimonian and Laird's moment estimate of the variance between
groups, cut off at zero.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Pooled:
    """Common mean, its variance, spread between groups, and the shrunk group means."""

    mean: float
    variance: float
    tau: float
    groups: tuple[float, ...]
    variances: tuple[float, ...]


def heterogeneity(means: Sequence[float], variances: Sequence[float]) -> float:
    """Return Cochran's Q: weighted squares of the group means about their common mean."""
    weights = [1.0 / v for v in variances]
    centre = math.fsum(w * y for w, y in zip(weights, means, strict=True)) / math.fsum(weights)
    return math.fsum(w * (y - centre) ** 2 for w, y in zip(weights, means, strict=True))


def tau_squared(means: Sequence[float], variances: Sequence[float]) -> float:
    """Return the moment estimate of the variance between groups, never below zero."""
    weights = [1.0 / v for v in variances]
    total = math.fsum(weights)
    freedom = total - math.fsum(w * w for w in weights) / total
    if len(means) < 2 or freedom <= 0:
        return 0.0
    return max(0.0, (heterogeneity(means, variances) - (len(means) - 1)) / freedom)


def shrink(means: Sequence[float], variances: Sequence[float], tau: float | None = None) -> Pooled:
    """Return group means drawn towards their common mean.

    Args:
        means: Group means.
        variances: Squared standard errors of the group means, above zero.
        tau: Standard deviation between groups; estimated if not given.
    """
    spread = math.sqrt(tau_squared(means, variances)) if tau is None else tau
    weights = [1.0 / (v + spread**2) for v in variances]
    total = math.fsum(weights)
    mean = math.fsum(w * y for w, y in zip(weights, means, strict=True)) / total
    if spread == 0.0:
        flat = (mean,) * len(means)
        return Pooled(mean, 1.0 / total, 0.0, flat, (1.0 / total,) * len(means))
    own = [spread**2 / (spread**2 + v) for v in variances]
    groups = tuple(b * y + (1.0 - b) * mean for b, y in zip(own, means, strict=True))
    spreads = tuple(b * v + (1.0 - b) ** 2 / total for b, v in zip(own, variances, strict=True))
    return Pooled(mean, 1.0 / total, spread, groups, spreads)
