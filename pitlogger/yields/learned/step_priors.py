"""How much a step usually keeps, before anything was learned here.

Wide figures for asking "can this weighing be right?" and for guessing what was put on the
scale; they enter no yield and no plan. Common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from pitlogger.yields.causes import cause_of

# cause: (usual ratio of the step, spread as standard deviation of its logarithm)
_USUAL: dict[str, tuple[float, float]] = {
    "purge": (0.985, 0.02),
    "thaw": (0.98, 0.02),
    "brine": (1.08, 0.06),
    "trim": (0.82, 0.12),
    "rub": (1.015, 0.015),
    "standing": (1.0, 0.01),
    "smoke": (0.76, 0.11),
    "cook": (0.66, 0.14),
    "wrapped": (0.86, 0.07),
    "uncovered": (0.97, 0.03),
    "rest": (0.97, 0.03),
    "hold": (0.98, 0.02),
    "carve": (0.90, 0.10),
    "sauce": (1.05, 0.05),
    "line": (0.92, 0.15),
}


@dataclass(frozen=True, slots=True)
class Usual:
    """Mean and standard deviation of the logarithm of a step's ratio."""

    log_mean: float
    log_sd: float

    @property
    def ratio(self) -> float:
        return math.exp(self.log_mean)

    def z(self, ratio: float) -> float:
        """Return how many standard deviations a ratio above zero lies from the usual."""
        return (math.log(ratio) - self.log_mean) / self.log_sd


@cache
def usual(start: str, end: str) -> Usual:
    """Return what the step between two checkpoints usually keeps."""
    causes = [_USUAL[cause] for cause in cause_of(start, end).split("+")]
    return Usual(
        sum(math.log(ratio) for ratio, _ in causes),
        math.sqrt(sum(spread**2 for _, spread in causes)),
    )
