"""What differs from one piece of meat to the next, with default and spread.

None of these can be measured in a kitchen. Defaults were fitted here, all at once, to the
records of ``tests/data/measured_cooks.csv`` and ``cook_loss_vs_temperature.csv`` and to the
time of the median bare packer (12 h for 11 to 12 lb at 238 F); ``python -m
tests.benchmarks.plant_records`` scores them record by record, each left out in turn. Spreads are
ours, wide enough for those records. The page ``docs/plant.md`` shows what each of them moves.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from pitlogger_simulators.plant.properties import Array, Value

_CUT_OFF = 2.5  # standard deviations


@dataclass(frozen=True, slots=True)
class Parameters:
    """Meat parameters; every field is a float or an array of shape (n,)."""

    # Exposed surface, half thickness, fat and conductivity relative to the cut's own.
    area_factor: Value = 1.0
    thickness_factor: Value = 1.0
    fat_factor: Value = 1.0
    # Heat across the fibres is 5 to 15 % slower than in the parallel mixture (from memory).
    conductivity_factor: Value = 0.92
    # Air speed differs from place to place in a pit.
    convection_factor: Value = 1.0
    # Share of the surface that gives off vapour: fat cap and grate contact do not.
    wet_share: Value = 0.237
    # Share of the juice let go that finds its way to the surface; the rest drips.
    to_surface: Value = 0.53
    # Juice standing at the surface before it overflows, kg/m2 (assumed).
    film_max: Value = 0.2
    expulsion_per_s_60c: Value = 3.5e-5
    # Water-holding curve, constants as published, see kinetics.held_water.
    holding_centre_c: Value = 52.0
    holding_slope_per_c: Value = 0.25
    # Bark: hours at 65 C until half set; how suddenly it sets, which is how sharply a stall
    # ends; its vapour resistance then, s/m; the power of its age by which that grows on.
    bark_h: Value = 5.53
    bark_power: Value = 30.0
    bark_resistance: Value = 60.0
    bark_growth: Value = 3.50
    # Share of the fat that can render (assumed); two fifths to a half leave a packer by 203 F.
    renderable: Value = 0.45
    wrap_vapour_factor: Value = 1.0

    @classmethod
    def draw(cls, rng: np.random.Generator, n: int) -> Parameters:
        """Return ``n`` draws, each field an array of shape (n,)."""
        drawn: dict[str, Array] = {}
        for field in fields(cls):
            default = float(getattr(_DEFAULT, field.name))
            spread = SPREAD.get(field.name, 0.0)
            normal = np.clip(rng.standard_normal(n), -_CUT_OFF, _CUT_OFF)
            drawn[field.name] = default * np.exp(spread * normal)
        return cls(**drawn)

    def spread_over(self, n: int) -> Parameters:
        """Return the same parameters with every field an array of shape (n,)."""
        return Parameters(
            **{
                field.name: np.broadcast_to(np.asarray(getattr(self, field.name), float), (n,))
                for field in fields(self)
            }
        )


_DEFAULT = Parameters()
# Spread of the logarithm (0.1 is about 10 %), cut off at 2.5 standard deviations.
SPREAD: dict[str, float] = {
    "area_factor": 0.09,
    "thickness_factor": 0.08,
    "fat_factor": 0.07,
    "conductivity_factor": 0.04,
    "convection_factor": 0.15,
    "wet_share": 0.08,
    "to_surface": 0.05,
    "expulsion_per_s_60c": 0.20,
    "holding_centre_c": 0.015,
    "bark_h": 0.15,
    "bark_power": 0.25,
    "bark_growth": 0.04,
    "bark_resistance": 0.10,
    "renderable": 0.06,
    "wrap_vapour_factor": 0.30,
}
