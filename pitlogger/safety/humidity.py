"""Humidity: the condition under which the federal cooking tables hold.

Not asked for of product of 10 lb or more in an oven kept at 250 F or above, in a casing or
bag, immersed, or over direct heat. Dry-heat barbecue is a listed scientific gap: the tables
may be used, with a warning that a dry surface survives more heat.

Source: FSIS-GD-2021, Cooking Guideline (Revised Appendix A), Table 1 (p. 26) and p. 31.
"""

from __future__ import annotations

GAP = (
    "the federal tables hold only with moisture in the chamber (FSIS-GD-2021 p. 26); dry-heat "
    "barbecue is a listed scientific gap: a dry surface survives more heat. Water pans and a "
    "wet-bulb log help."
)
EXEMPT_MG = 4_535_923  # 10 lb
EXEMPT_MC = 121_111  # 250 F


def is_exempt(mass_mg: int | None, coolest_oven_mc: int) -> bool:
    """Return whether a cook needs none: heavy product in an oven kept hot throughout."""
    return mass_mg is not None and mass_mg >= EXEMPT_MG and coolest_oven_mc >= EXEMPT_MC
