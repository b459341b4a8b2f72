"""What a request says of size, shape and wrap, in numbers; what it does not say is guessed.

Half-thickness goes with mass to the power 0.28 (scaling of one shape, slightly flattened):
31 mm at 3.9 kg for a brisket, 66 mm at 3.6 kg for a pork shoulder (published piece sizes).
Half-thicknesses of the other families: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log

from pitlogger.forecast.request import Request

# family: (half-thickness mm, at mass kg, compactness 0 slab .. 1 cylinder .. 2 sphere)
FAMILY: dict[str, tuple[float, float, float]] = {
    "brisket": (31.0, 3.9, 0.4),
    "pork-shoulder": (66.0, 3.6, 1.3),
    "pork-belly": (22.0, 2.5, 0.3),
    "pork-ribs": (12.0, 1.2, 0.2),
    "beef-ribs": (28.0, 1.8, 0.5),
    "beef-roast": (38.0, 1.8, 1.0),
    "chicken": (28.0, 1.8, 1.2),
    "turkey": (45.0, 5.5, 1.3),
    "lamb": (45.0, 2.5, 1.0),
    "sausage": (16.0, 0.2, 1.0),
    "other": (40.0, 3.0, 0.8),
}
# Vapour let through: foil nearly none, paper some; boat and pan lie between (no source).
WRAP_SHARES: dict[str, tuple[float, float]] = {
    "none": (0.0, 0.0),
    "paper": (0.0, 1.0),
    "foil": (1.0, 0.0),
    "boat": (0.3, 0.4),
    "pan": (0.5, 0.3),
}
DEFAULT_WRAP_AT_C = 73.9  # 165 F, common practice, no source


@dataclass(frozen=True, slots=True)
class Shape:
    """Half-thickness, mass and compactness, and which of them were said."""

    half_mm: float
    mass_kg: float
    compact: float
    thickness_said: bool
    mass_said: bool

    @property
    def ln_half(self) -> float:
        return log(self.half_mm / 31.0)


def shape(request: Request) -> Shape:
    """Return size and shape, guessed from the family where not said."""
    half, at_kg, compact = FAMILY.get(request.family, FAMILY["other"])
    mass_said = request.mass_g is not None and request.mass_g > 0
    mass_kg = request.mass_g / 1000.0 if mass_said and request.mass_g else at_kg
    thickness_said = request.thickness_mm is not None and request.thickness_mm > 0
    if thickness_said and request.thickness_mm:
        half_mm = request.thickness_mm / 2.0
    else:
        half_mm = half * (mass_kg / at_kg) ** 0.28
    return Shape(half_mm, mass_kg, compact, thickness_said, mass_said)


def wrap_shares(wrap: str | None) -> tuple[float, float]:
    """Return how much of foil and of paper a wrap is."""
    return WRAP_SHARES.get(wrap or "none", (0.0, 0.0))


def wrap_ahead(request: Request) -> tuple[str, float | None]:
    """Return the wrap that counts until the target and the temperature at which it comes.

    A wrap already on has no temperature; one planned at or above the target never comes.
    """
    if request.wrap not in (None, "none"):
        return str(request.wrap), None
    plan = request.wrap_plan
    if plan in (None, "none") or request.target == "wrap":
        return "none", None
    at = DEFAULT_WRAP_AT_C if request.wrap_at_c is None else request.wrap_at_c
    if at >= request.target_c and request.wrap_at_s is None:
        return "none", None
    return str(plan), at
