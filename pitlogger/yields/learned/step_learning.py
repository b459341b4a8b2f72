"""Learning how much each step keeps: normal-inverse-chi-square on the logarithm of its ratio.

A ratio may exceed 1 (rub, brine, sauce), so the scale is the logarithm. The prior is what
such a step usually keeps (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from pitlogger.yields.learned.belief import Belief, prior_belief
from pitlogger.yields.learned.step_priors import usual
from pitlogger.yields.ledger import steps_of
from pitlogger.yields.records import PastPiece

_PRIOR_DF = 4.0


@dataclass(frozen=True, slots=True)
class LearnedStep:
    """What the next cook is expected to keep from one checkpoint to another."""

    start: str
    end: str
    n: int
    belief: Belief

    def quantile(self, p: float) -> float:
        """Return the ratio that is not exceeded with probability ``p``."""
        return math.exp(self.belief.predictive().quantile(p))


def learn_steps(pieces: Iterable[PastPiece]) -> list[LearnedStep]:
    """Return what was learned of each step seen, the most seen first.

    Args:
        pieces: Past pieces of one cut.
    """
    seen: dict[tuple[str, str], list[float]] = {}
    for piece in pieces:
        for step in steps_of(piece.masses):
            seen.setdefault((step.start, step.end), []).append(math.log(step.ratio.value))
    found = [
        LearnedStep(start, end, len(logs), step_prior(start, end).updated(logs))
        for (start, end), logs in seen.items()
    ]
    return sorted(found, key=lambda step: -step.n)


def step_prior(start: str, end: str) -> Belief:
    """Return the prior of a step: half of its usual variance between kitchens, half within."""
    expected = usual(start, end)
    half = expected.log_sd / math.sqrt(2.0)
    return prior_belief(expected.log_mean, half, half, _PRIOR_DF)
