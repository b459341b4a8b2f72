"""Humidity: the condition under which the federal cooking tables hold.

Not asked for of product of 10 lb or more in an oven kept at 250 F or above, in a casing or
bag, immersed, or over direct heat. Dry-heat barbecue is a listed scientific gap: the tables
may be used, with a warning that a dry surface survives more heat.

Source: FSIS-GD-2021, Cooking Guideline (Revised Appendix A), Table 1 (p. 26) and p. 31.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pitlogger.safety import shipped

GAP = (
    "the federal tables hold only with moisture in the chamber (FSIS-GD-2021 p. 26); dry-heat "
    "barbecue is a listed scientific gap: a dry surface survives more heat. Water pans and a "
    "wet-bulb log help."
)
EXEMPT_MG = 4_535_923  # 10 lb
EXEMPT_MC = 121_111  # 250 F
RH_PCT = 90.0


@dataclass(frozen=True, slots=True)
class HumidityOption:
    """One way to meet the condition; ``endpoint_f`` is the least endpoint, if there is one."""

    number: int
    condition: str
    fraction: float
    least_s: float
    endpoint_f: float | None
    source: str

    def needed_s(self, cook_s: float) -> float:
        """Return how long the condition must last in a cook of ``cook_s`` seconds."""
        return max(self.fraction * cook_s, self.least_s)


def options() -> tuple[HumidityOption, ...]:
    """Return the four options of the guideline."""
    return tuple(
        HumidityOption(
            int(row["option"]),
            row["condition"],
            float(row["fraction"]),
            float(row["least_h"] or 0) * 3600,
            float(row["endpoint_f"]) if row["endpoint_f"] else None,
            row["source"],
        )
        for row in shipped.rows("humidity_options.csv")
    )


def options_met(cook_s: float, had_s: Mapping[str, float], endpoint_f: float) -> list[int]:
    """Return the numbers of the options a cook meets.

    Args:
        cook_s: Length of the cook, seconds; options 1 to 3 ask for an hour at least.
        had_s: Time under each condition, by its name in ``options()``, seconds.
        endpoint_f: The row of the table the cook was passed on.
    """
    return [
        option.number
        for option in options()
        if had_s.get(option.condition, 0.0) >= option.needed_s(cook_s)
        and (option.endpoint_f is None or endpoint_f >= option.endpoint_f)
        and cook_s >= option.least_s
    ]


def is_exempt(mass_mg: int | None, coolest_oven_mc: int) -> bool:
    """Return whether a cook needs none: heavy product in an oven kept hot throughout."""
    return mass_mg is not None and mass_mg >= EXEMPT_MG and coolest_oven_mc >= EXEMPT_MC
