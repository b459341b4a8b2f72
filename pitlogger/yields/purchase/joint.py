"""The chance that no dish of a meal runs short, the cooks of one day hanging together.

Each dish has its own chance; what they share is one fire, one weather, one cook: half of what the
pieces of a dish share among them is taken to be shared by all dishes (a judgement). One common
factor, integrated over.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist

COMMON = 0.5
_NORMAL = NormalDist()
_STEPS = 121


def none_short(chances: Sequence[float], shared: Sequence[float]) -> float:
    """Return the probability that every dish is enough.

    Args:
        chances: That a dish is enough, each alone, 0 to 1.
        shared: Share of the variance of each dish's served mass that its pieces have in common.
    """
    levels = [_NORMAL.inv_cdf(min(max(chance, 1e-12), 1 - 1e-12)) for chance in chances]
    loads = [math.sqrt(COMMON * part) for part in shared]
    total = weights = 0.0
    for step in range(_STEPS):
        x = -6.0 + 12.0 * step / (_STEPS - 1)
        weight = math.exp(-0.5 * x * x)
        every = 1.0
        for level, load in zip(levels, loads, strict=True):
            every *= _NORMAL.cdf((level + load * x) / math.sqrt(1.0 - load * load))
        total += weight * every
        weights += weight
    return min(total / weights, min(chances, default=1.0))
