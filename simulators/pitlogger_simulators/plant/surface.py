"""The surface: heat from air and walls, vapour out, one unknown temperature.

All arrays have shape (n,); heat flows in W and vapour in kg/s are for the whole surface.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np

from pitlogger_simulators.plant.boundary import Boundary
from pitlogger_simulators.plant.kinetics import water_activity
from pitlogger_simulators.plant.meat import Meat
from pitlogger_simulators.plant.parameters import Parameters
from pitlogger_simulators.plant.properties import Array, Value
from pitlogger_simulators.plant.vapour import (
    VAPOUR_GAS_CONSTANT,
    ZERO_K,
    boiling_c,
    latent_j_kg,
    mass_transfer_m_s,
    saturation_pa,
    saturation_slope,
    vapour_pressure_pa,
)

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m2 K4), CODATA 2018
_NEAR_BOILING = 0.9995  # of the air pressure: Stefan flow diverges at boiling
_TIGHT = 1e-12  # share of the open way, so that a tight wrap divides by something
# Newton squares its error: the step after one so small would change less than 1e-8 C.
_TOLERANCE_C = 1e-4
_MAX_ITERATIONS = 30
_TINY = 1e-12  # kg
_DRIEST = 1e-3  # water activity


@dataclass(frozen=True, slots=True)
class Wetness:
    """The ways for vapour off the surface.

    Attributes:
        conductance: All ways together per area, m/s.
        activity: Water activity behind them.
        film_share: Share of the vapour that comes from the film.
        vapour_pa: Partial pressure in the air.
        film_k: Temperature of the air film, K.
    """

    conductance: Array
    activity: Array
    film_share: Array
    vapour_pa: Value
    film_k: Array


def wetness(
    meat: Meat,
    parameters: Parameters,
    boundary: Boundary,
    area_m2: Array,
    surface_c: Array,
    rising_kg: Array,
    dt_s: float,
) -> Wetness:
    """Return how wet the surface is during a step.

    While there is juice on the surface it gives off vapour like water; without, the outer
    cell dries. Bark stands in the way of both.
    """
    p = parameters
    film_c = 0.5 * (boundary.air_c + surface_c)
    film_k = film_c + ZERO_K
    open_way = mass_transfer_m_s(boundary.convection * p.convection_factor, film_c)
    through = np.clip(boundary.vapour * wrap_spread(boundary.vapour, p), _TIGHT, 1.0)
    vapour_pa = vapour_pressure_pa(boundary.humidity_ratio, boundary.pressure_pa)
    excess = saturation_pa(surface_c) - vapour_pa
    dew = excess < 0.0
    set_bark = meat.bark**p.bark_power
    bark = p.bark_resistance * meat.bark**p.bark_growth * set_bark / (1.0 + set_bark)
    # Meat and wrap stand one behind the other: what the meat can give off must pass the wrap.
    behind = (1.0 + open_way * bark) / p.wet_share
    conductance = open_way / (behind + 1.0 / through - 1.0)
    demand = dt_s * area_m2 * conductance * stefan(excess, vapour_pa, boundary.pressure_pa, film_k)
    film = meat.film + rising_kg
    film_share = film / (film + np.maximum(demand, _TINY))
    drying = water_activity(meat.water[-1] / meat.solids[-1])
    # Dew forms everywhere, fat cap and bark too.
    return Wetness(
        np.where(dew, open_way * through, conductance),
        np.where(dew, 1.0, film_share + (1.0 - film_share) * drying),
        film_share,
        vapour_pa,
        film_k,
    )


def wrap_spread(vapour: Value, parameters: Parameters) -> Array:
    """Return the drawn factor on the leak of a wrap; an open surface has none."""
    return np.where(np.asarray(vapour) < 1.0, parameters.wrap_vapour_factor, 1.0)


def stefan(excess_pa: Array, vapour_pa: Value, pressure_pa: Value, film_k: Array) -> Array:
    """Return the density difference that drives vapour with Stefan flow, kg/m3."""
    air = pressure_pa - vapour_pa
    return (
        -pressure_pa
        / (VAPOUR_GAS_CONSTANT * film_k)
        * np.log1p(-np.minimum(excess_pa / air, _NEAR_BOILING))
    )


@dataclass(frozen=True, slots=True)
class Exchange:
    """What the surface sees during a step, for its whole area."""

    gain_w_k: Array
    surrounding_c: Array  # air and walls, weighted
    vapour_scale: Array  # kg/s per unit of the Stefan logarithm
    activity: Array
    vapour_pa: Value
    pressure_pa: Value
    available_kg_s: Array  # water that can leave in a step


def radiation_w_m2k(emissivity: Value, wall_c: Value, surface_c: Array) -> Array:
    """Return the coefficient of radiation between walls and surface."""
    wall, surface = wall_c + ZERO_K, surface_c + ZERO_K
    return emissivity * STEFAN_BOLTZMANN * (wall * wall + surface * surface) * (wall + surface)


def exchange(
    boundary: Boundary,
    parameters: Parameters,
    wet: Wetness,
    area_m2: Array,
    surface_c: Array,
    available_kg_s: Array,
) -> Exchange:
    """Return what the surface sees; radiation is taken at the temperature before the step."""
    convection = boundary.convection * parameters.convection_factor
    radiation = radiation_w_m2k(boundary.emissivity, boundary.wall_c, surface_c)
    gain = convection + radiation
    return Exchange(
        area_m2 * gain,
        (convection * boundary.air_c + radiation * boundary.wall_c) / gain,
        area_m2 * wet.conductance * boundary.pressure_pa / (VAPOUR_GAS_CONSTANT * wet.film_k),
        wet.activity,
        wet.vapour_pa,
        boundary.pressure_pa,
        available_kg_s,
    )


def solve_surface(
    seen: Exchange, rest_c: Array, per_watt: Array, start_c: Array
) -> tuple[Array, Array, Array]:
    """Return the surface temperature, the heat into the meat (W) and the vapour leaving (kg/s).

    Balance: ``gain (surrounding - T) - latent j(T) = (T - rest) / per_watt``. Left less
    right falls with T and is concave, so Newton's steps come down on the root from above and
    cannot cycle.
    """
    if start_c.size > 1:
        return _solve(seen, rest_c, per_watt, start_c)
    # A single body is computed with plain numbers: the same arithmetic, several times as fast.
    alone = Exchange(
        _only(seen.gain_w_k),
        _only(seen.surrounding_c),
        _only(seen.vapour_scale),
        _only(seen.activity),
        _only(seen.vapour_pa),
        _only(seen.pressure_pa),
        _only(seen.available_kg_s),
    )
    surface, heat_w, vapour_kg_s = _solve(alone, _only(rest_c), _only(per_watt), _only(start_c))
    return np.array([surface]), np.array([heat_w]), np.array([vapour_kg_s])


def _only(value: Value) -> Array:
    return cast(Array, value.item() if isinstance(value, np.ndarray) else value)


def _solve(
    seen: Exchange, rest_c: Array, per_watt: Array, start_c: Array
) -> tuple[Array, Array, Array]:
    air = seen.pressure_pa - seen.vapour_pa
    top_c = boiling_c(_NEAR_BOILING * seen.pressure_pa / np.maximum(seen.activity, _DRIEST))
    inward = 1.0 / per_watt
    stiff = seen.gain_w_k + inward
    pull = seen.gain_w_k * seen.surrounding_c + inward * rest_c
    surface = np.minimum(start_c, top_c)
    for _ in range(_MAX_ITERATIONS):
        saturated = seen.activity * saturation_pa(surface)
        left = seen.pressure_pa - saturated
        vapour_kg_s = seen.vapour_scale * np.log(air / left)
        latent = latent_j_kg(surface)
        slope = stiff + latent * seen.vapour_scale * saturation_slope(surface, saturated) / left
        change = (pull - stiff * surface - latent * vapour_kg_s) / slope
        before, surface = surface, np.minimum(surface + change, top_c)
        if np.abs(surface - before).max() < _TOLERANCE_C:
            break
    short = (vapour_kg_s > seen.available_kg_s) | (surface >= top_c)
    if short.any():
        # All that is there boils off, and the heat left over warms the surface beyond.
        boiled = np.minimum(vapour_kg_s, seen.available_kg_s)
        beyond = (pull - latent_j_kg(surface) * boiled) / stiff
        surface = np.where(short, beyond, surface)
        vapour_kg_s = np.where(short, boiled, vapour_kg_s)
    heat_w = seen.gain_w_k * (seen.surrounding_c - surface) - latent_j_kg(surface) * vapour_kg_s
    return surface, heat_w, vapour_kg_s
