"""Thermal properties of meat from what it is made of.

Source: Choi and Okos 1986, "Effects of temperature and composition on the thermal
properties of foods", component polynomials as tabulated in the ASHRAE Handbook,
Refrigeration, chapter on thermal properties of foods. ``y = a + b t + c t^2``, t in
degrees Celsius, valid from -40 to 150 C (water: above 0 C). Copies with the signs of
water's heat capacity swapped, or with a fat coefficient a hundred times too large, are
in circulation; the tests compare with IAPWS water.

Mixing: heat capacity by mass, specific volume by mass, conductivity by volume (layers in
parallel, an upper bound).
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Value = float | Array  # one for all, or one each


@dataclass(frozen=True, slots=True)
class Composition:
    """Mass fractions of one kg of meat; they add up to one.

    ``ash`` stands for bone mineral too.
    """

    water: float = 0.0
    protein: float = 0.0
    fat: float = 0.0
    ash: float = 0.0
    carbohydrate: float = 0.0
    fibre: float = 0.0


@dataclass(frozen=True, slots=True)
class Thermal:
    """Heat capacity J/(kg K), conductivity W/(m K), density kg/m3."""

    heat_capacity: float
    conductivity: float
    density: float

    @property
    def diffusivity(self) -> float:
        """Thermal diffusivity, m2/s."""
        return self.conductivity / (self.density * self.heat_capacity)


# Component: coefficients of heat capacity (kJ/kgK), conductivity (W/mK), density (kg/m3).
_COEFFICIENTS: dict[str, tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]] = {
    "water": (
        (4.1289, -9.0864e-5, 5.4731e-6),
        (0.57109, 1.7625e-3, -6.7036e-6),
        (997.18, 3.1439e-3, -3.7574e-3),
    ),
    "protein": (
        (2.0082, 1.2089e-3, -1.3129e-6),
        (0.17881, 1.1958e-3, -2.7178e-6),
        (1329.9, -0.5184),
    ),
    "fat": (
        (1.9842, 1.4733e-3, -4.8008e-6),
        (0.18071, -2.7604e-4, -1.7749e-7),
        (925.59, -0.41757),
    ),
    "carbohydrate": (
        (1.5488, 1.9625e-3, -5.9399e-6),
        (0.20141, 1.3874e-3, -4.3312e-6),
        (1599.1, -0.31046),
    ),
    "fibre": (
        (1.8459, 1.8306e-3, -4.6509e-6),
        (0.18331, 1.2497e-3, -3.1683e-6),
        (1311.5, -0.36589),
    ),
    "ash": (
        (1.0926, 1.8896e-3, -3.6817e-6),
        (0.32962, 1.4011e-3, -2.9069e-6),
        (2423.8, -0.28063),
    ),
}
COMPONENTS = tuple(_COEFFICIENTS)


def component(name: str, temperature_c: float) -> Thermal:
    """Return the properties of one component at a temperature in degrees Celsius."""
    capacity, conductivity, density = (
        sum(c * temperature_c**power for power, c in enumerate(row)) for row in _COEFFICIENTS[name]
    )
    return Thermal(1000.0 * capacity, conductivity, density)


def mixture(composition: Composition, temperature_c: float) -> Thermal:
    """Return the properties of a mixture at a temperature in degrees Celsius."""
    capacity = volume = weighted = 0.0
    for field in fields(composition):
        share = getattr(composition, field.name)
        part = component(field.name, temperature_c)
        capacity += share * part.heat_capacity
        volume += share / part.density
        weighted += share / part.density * part.conductivity
    return Thermal(capacity, weighted / volume, 1.0 / volume)
