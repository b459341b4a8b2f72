"""What is believed of a cut's servable yield before anything was cooked here.

The median (``cuts.toml``) comes from published tables where they say something of the cut. How
far one kitchen lies from another (0.20 on the logit scale, about five points of yield) and how
much cooks of one kitchen differ (0.10, below the 0.13 to 0.36 within cut that Release 2
implies, since those mix animals, grades and laboratories) are judgements.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pitlogger.yields.cuts import figures

BETWEEN_KITCHENS = 0.20
WITHIN_KITCHEN = 0.10
# How sure the 0.10 is, in degrees of freedom: few, so that own cooks soon decide.
WITHIN_DF = 4.0


@dataclass(frozen=True, slots=True)
class CutPrior:
    """Prior of the logit of a cut's servable yield (share of purchased mass)."""

    cut: str
    median: float
    source: str
    between: float = BETWEEN_KITCHENS
    within: float = WITHIN_KITCHEN
    df: float = WITHIN_DF
    firm: str = ""  # whose other sites it was learned from; empty: published

    @property
    def logit(self) -> float:
        return math.log(self.median / (1.0 - self.median))


def cut_prior(cut: str) -> CutPrior:
    """Return the prior of a known cut."""
    held = figures()[cut]
    return CutPrior(cut, held.servable, held.source)
