"""What is believed of a cut's servable yield before anything was cooked here.

The median comes from published tables where they say something of the cut. How far one
kitchen lies from another (0.20 on the logit scale, about five points of yield) and how
much cooks of one kitchen differ (0.10, below the 0.13 to 0.36 within cut that Release 2
implies, since those mix animals, grades and laboratories) are judgements.

Release 2: USDA ARS, Table of Cooking Yields for Meat and Poultry, Release 2, 2014.
SR28: USDA National Nutrient Database for Standard Reference, Release 28, weight file.
Kerth et al.: Kerth, Wall, Grayson-Holter, Meat and Muscle Biology, article 18269 (abstract).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

BETWEEN_KITCHENS = 0.20
WITHIN_KITCHEN = 0.10
# How sure the 0.10 is, in degrees of freedom: few, so that own cooks soon decide.
WITHIN_DF = 4.0

_UNTABLED = "no table found; common practice, no source"
_MEDIAN: dict[str, tuple[float, str]] = {
    "brisket-packer": (
        0.49,
        "SR28 NDB 13368 (58.2 % lean) after trimming to 75-85 %; trade reports 0.46 to 0.53",
    ),
    "brisket-flat": (
        0.60,
        "between 56.0 % (Kerth et al., smoked to 90 C, held 3 h) and 64.6 % (SR28 NDB 13369)",
    ),
    "brisket-point": (
        0.55,
        "between 51.1 % (SR28 NDB 13372, lean only) and 69.2 % (NDB 13371, lean and fat)",
    ),
    "burnt-ends": (0.50, _UNTABLED),
    "pork-butt": (0.525, "SR28 NDB 10087, bone-in, lean only, roasted"),
    "pork-picnic": (0.421, "SR28 NDB 10079, bone-in, lean only, roasted"),
    "pork-belly": (0.60, _UNTABLED),
    "pork-spareribs": (0.76, "Release 2, NDB 10940, roasted, served on the bone"),
    "pork-st-louis": (0.76, "Release 2, NDB 10940 (spareribs), roasted, served on the bone"),
    "pork-baby-back": (0.82, "Release 2, NDB 10193, roasted, served on the bone"),
    "beef-ribs": (0.753, "Release 2, NDB 23233, back ribs, braised, served on the bone"),
    "beef-chuck": (0.64, "Release 2, NDB 23099, under blade pot roast, braised"),
    "tri-tip": (0.84, "Release 2, NDB 13953, roasted"),
    "chicken-whole": (0.78, "Release 2, NDB 5004 (1975 value), roasted, bone in"),
    "chicken-half": (0.78, "Release 2, NDB 5004 (1975 value), roasted, bone in"),
    "chicken-quarter": (0.78, "Release 2, NDB 5004 (1975 value), roasted, bone in"),
    "chicken-thigh": (0.69, "Release 2, NDB 5094 (1975 value), roasted, bone in"),
    "turkey-whole": (0.505, "SR28 NDB 05200, meat and skin off the bone, roasted"),
    "turkey-breast": (0.72, "Release 2, NDB 5733, n = 1, roasted"),
    "lamb-shoulder": (0.60, "Release 2, braised shoulder, shank, breast, flank (1975 value)"),
    "sausage": (0.80, "Release 2, NDB 7064, n = 1, pan-fried"),
    "other": (0.67, "Release 2, beef retail cuts, boneless, braised, pooled"),
}


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
    median, source = _MEDIAN[cut]
    return CutPrior(cut, median, source)
