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

import tomllib
from dataclasses import dataclass, fields
from importlib.resources import files
from typing import Any

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


TABLES: dict[str, dict[str, Any]] = tomllib.loads(
    (files("pitlogger_simulators.plant") / "meat.toml").read_text(encoding="utf-8")
)
COMPONENTS = tuple(TABLES["components"])


def component(name: str, temperature_c: float) -> Thermal:
    """Return the properties of one component at a temperature in degrees Celsius."""
    rows = TABLES["components"][name]
    capacity, conductivity, density = (
        sum(c * temperature_c**power for power, c in enumerate(rows[of]))
        for of in ("heat_capacity", "conductivity", "density")
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
