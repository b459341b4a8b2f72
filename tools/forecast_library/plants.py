"""Three plants of different structure, so that no forecast can live on the ways of one.

``shrinking-cells`` is the plant of the demo (``pitlogger_simulators.plant``). The other two
share nothing with it but the saturation curve: ``two-node`` knows a core, a shell and a stock
of surface water; ``drying-front`` is a slab, cylinder or sphere of fixed size whose vapour comes
from a front that retreats under a crust and is driven back by juice from within (form of
Luikov's and Whitaker's receding-front models). Each is set to the same measured times (see
``docs/forecast.md``), none to another.

All arrays have shape (n,); temperatures in C, time in s.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from pitlogger_simulators.plant.body import Body
from pitlogger_simulators.plant.boundary import MEAT_EMISSIVITY, Boundary
from pitlogger_simulators.plant.conduction import eliminate
from pitlogger_simulators.plant.cuts import CUT_SHAPES, BodyShape, PieceSpec
from pitlogger_simulators.plant.geometry import cell_shares, measure
from pitlogger_simulators.plant.parameters import Parameters
from pitlogger_simulators.plant.vapour import (
    VAPOUR_GAS_CONSTANT,
    ZERO_K,
    latent_j_kg,
    mass_transfer_m_s,
    saturation_pa,
    vapour_pressure_pa,
)

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

PRESSURE_PA = 101_325.0
RADIATION_W_M2K = 8.5  # walls and surface between 60 and 115 C, emissivity 0.9
CAPACITY_J_KGK, DENSITY_KG_M3, CONDUCTIVITY_W_MK = 3400.0, 1030.0, 0.46  # Choi and Okos 1986
LEAK = 0.2  # of the wraps of two-node and drying-front, whose surfaces are hotter (fitted)
JUICE_SHARE = 0.27  # of the mass that proteins let go in all (water-holding curve, at 85 C)


@dataclass(frozen=True, slots=True)
class Pieces:
    """What lies in the pits: size, shape, meat and wrap of n pieces.

    Attributes:
        cut: Names, one each. area_m2: Exposed surface.
        compact: 0 slab, 1 cylinder, 2 sphere.
        convection, wall_below_c, humidity: Of the pit.
        vapour, radiation, still: Factors of the wrap on vapour, radiation and convection.
        factors: Factors on the meat's own parameters, by the names of ``FACTORS``.
    """

    cut: list[str]
    mass_kg: Array
    half_m: Array
    area_m2: Array
    compact: Array
    start_c: Array
    convection: Array
    wall_below_c: Array
    humidity: Array
    vapour: Array
    radiation: Array
    still: Array
    factors: dict[str, Array]

    def __len__(self) -> int:
        return len(self.cut)


class ShrinkingCells:
    """The plant of the demo, its parameters moved by the factors."""

    def __init__(self, pieces: Pieces) -> None:
        usual = Parameters()
        moved = {
            name: getattr(usual, name) * by
            for name, by in pieces.factors.items()
            if hasattr(usual, name)
        }
        parameters = replace(usual.spread_over(len(pieces)), **moved)
        specs = []
        for i, cut in enumerate(pieces.cut):
            made_of = CUT_SHAPES[cut].composition
            shape = BodyShape(float(pieces.half_m[i]), float(pieces.area_m2[i]), made_of)
            mass_g, start_c = float(pieces.mass_kg[i]) * 1000.0, float(pieces.start_c[i])
            specs.append(PieceSpec(cut, mass_g, start_c=start_c, body=shape))
        self._pieces, self._body = pieces, Body(specs, parameters, n_cells=10)

    def step(self, dt_s: float, air_c: Array, wrapped: Mask) -> None:
        p = self._pieces
        seen = Boundary(
            air_c, air_c - p.wall_below_c, p.humidity,
            p.convection * np.where(wrapped, p.still, 1.0),
            MEAT_EMISSIVITY * np.where(wrapped, p.radiation, 1.0),
            np.where(wrapped, p.vapour, 1.0),
        )  # fmt: skip
        self._body.step(dt_s, seen)

    def core_c(self, place: Array) -> Array:
        return _at(self._body.meat.temperature_c, place)


class TwoNode:
    """Core and shell of half the mass each, and a stock of water at the surface.

    The stock is filled by juice, which the shell lets go with its temperature, and gives off
    vapour as far as it reaches: a stall that ends when the juice does.
    """

    def __init__(self, pieces: Pieces) -> None:
        n, f = len(pieces), pieces.factors
        self._pieces = pieces
        self._core, self._shell = pieces.start_c.copy(), pieces.start_c.copy()
        self._centre_c = pieces.start_c.copy()
        self._stock = np.zeros(n)  # kg/m2
        self._juice = JUICE_SHARE * pieces.mass_kg / pieces.area_m2  # kg/m2 still bound
        length = pieces.half_m / (1.0 + 0.5 * pieces.compact)
        self._lag = 0.25 * length**2 * CAPACITY_J_KGK * DENSITY_KG_M3 / CONDUCTIVITY_W_MK  # s
        self._mixing = 1.04 * f["conductivity_factor"] * CONDUCTIVITY_W_MK / length  # W/m2K
        self._capacity = 0.5 * CAPACITY_J_KGK * pieces.mass_kg / pieces.area_m2  # J/m2K a node
        self._wet = 0.155 * f["wet_share"]
        self._rise = 0.89 * np.minimum(f["to_surface"], 1.1)
        self._rate = 5.0e-5 * f["expulsion_per_s_60c"]
        self._centre = 58.6 * f["holding_centre_c"]
        self._dry = 0.46 * f["film_max"]

    def step(self, dt_s: float, air_c: Array, wrapped: Mask) -> None:
        p, shell = self._pieces, self._shell
        convection = p.convection * np.where(wrapped, p.still, 1.0)
        radiation = RADIATION_W_M2K * np.where(wrapped, p.radiation, 1.0)
        bound = 1.0 / (1.0 + np.exp((shell - self._centre) / 6.0))
        free = np.maximum(self._juice * (1.0 - bound), 0.0)
        let_go = free * (1.0 - np.exp(-dt_s * self._rate * np.exp((shell - 60.0) / 18.0)))
        self._juice = self._juice - let_go
        stock = np.minimum(self._stock + self._rise * let_go, 0.6)
        share = self._wet * stock / (stock + self._dry)
        open_way = mass_transfer_m_s(convection, 0.5 * (air_c + shell))
        through = np.where(wrapped, LEAK * p.vapour, 1.0)
        way = open_way / (1.0 / np.maximum(share, 1e-6) + 1.0 / through - 1.0)
        # The surface runs ahead of the shell: half a shell's way of conduction between them.
        inward = 3.0 * self._mixing
        surface = (convection * air_c + inward * shell + radiation * (air_c - p.wall_below_c)) / (
            convection + inward + radiation
        )
        surface = np.minimum(surface, 99.0)
        for _ in range(3):
            flow, slope = _vapour(way, surface, p.humidity)
            heat = convection * (air_c - surface) + radiation * (air_c - p.wall_below_c - surface)
            off = heat - latent_j_kg(surface) * flow - inward * (surface - shell)
            stiff = convection + radiation + inward + latent_j_kg(surface) * slope
            surface = np.clip(surface + off / stiff, 0.0, 99.5)
        flow = np.minimum(np.maximum(_vapour(way, surface, p.humidity)[0], 0.0), stock / dt_s)
        self._stock = stock - dt_s * flow
        heat = convection * (air_c - surface) + radiation * (air_c - p.wall_below_c - surface)
        gain = heat - latent_j_kg(surface) * flow
        between = self._mixing * (shell - self._core)
        self._shell = np.minimum(shell + dt_s * (gain - between) / self._capacity, air_c)
        self._core = self._core + dt_s * between / self._capacity
        self._centre_c = self._centre_c + dt_s / self._lag * (self._core - self._centre_c)

    def core_c(self, place: Array) -> Array:
        return np.asarray(self._centre_c + place * (self._shell - self._centre_c))


class DryingFront:
    """A body of fixed size in which the place where water turns to vapour moves.

    Heat reaches the front through the crust, vapour leaves it through the crust; juice from
    the hot cells drives it outward again. As the crust grows the stall fades.
    """

    CELLS = 9

    def __init__(self, pieces: Pieces) -> None:
        n, f = len(pieces), pieces.factors
        self._pieces = pieces
        shares = cell_shares(self.CELLS, pieces.compact)
        volume = pieces.mass_kg / DENSITY_KG_M3
        body = measure(shares * volume, pieces.half_m, pieces.compact)
        scale = pieces.area_m2 / body.area_m2  # exposed share of the shape's own surface
        conductivity = 0.9 * CONDUCTIVITY_W_MK * f["conductivity_factor"]
        self._links = conductivity * body.face_area_per_length
        self._skin = conductivity * body.outer_per_length
        self._capacity = CAPACITY_J_KGK * shares * pieces.mass_kg
        self._area = body.area_m2 * np.minimum(scale, 1.2)
        self._cells = np.repeat(pieces.start_c[None, :], self.CELLS, axis=0)
        self._juice = 0.27 * shares * pieces.mass_kg
        self._front = np.zeros(n)  # depth of the front, m
        self._wet = 0.256 * f["wet_share"]
        self._rate = 6.7e-5 * f["expulsion_per_s_60c"]
        self._centre = 60.5 * f["holding_centre_c"]
        self._rise = 0.97 * np.minimum(f["to_surface"], 1.04)
        self._crust_k = 0.22
        self._crust_d = 0.112e-6 / f["bark_resistance"]  # m2/s, vapour through the crust
        self._porosity = 67.0  # kg of water a cubic metre of crust had

    def step(self, dt_s: float, air_c: Array, wrapped: Mask) -> None:
        p, area = self._pieces, self._area
        convection = 0.92 * p.convection * np.where(wrapped, p.still, 1.0)
        radiation = RADIATION_W_M2K * np.where(wrapped, p.radiation, 1.0)
        gain = convection + radiation
        around = (convection * air_c + radiation * (air_c - p.wall_below_c)) / gain
        through = 1.0 / (1.0 / gain + self._front / self._crust_k)  # W/m2K, air to front
        made = eliminate(self._cells, self._capacity, self._links, dt_s)
        per_watt = 1.0 / self._skin + made.per_watt
        open_way = mass_transfer_m_s(convection, 0.5 * (air_c + self._cells[-1]))
        layer = np.where(wrapped, LEAK * p.vapour, 1.0)
        behind = (1.0 + open_way * self._front / self._crust_d) / self._wet
        way = open_way / (behind + 1.0 / layer - 1.0)
        front_c = np.minimum(self._cells[-1], 99.0)
        for _ in range(4):
            flow, slope = _vapour(way, front_c, p.humidity)
            latent = latent_j_kg(front_c)
            off = area * (through * (around - front_c) - latent * flow)
            off -= (front_c - made.rest_c) / per_watt
            stiff = area * (through + latent * slope) + 1.0 / per_watt
            front_c = np.clip(front_c + off / stiff, 0.0, 99.5)
        self._cells = made.finish((front_c - made.rest_c) / per_watt)
        flow = np.maximum(_vapour(way, front_c, p.humidity)[0], 0.0)
        loose = 1.0 - 1.0 / (1.0 + np.exp((self._cells - self._centre) / 5.0))
        rate = self._rate * np.exp((self._cells - 60.0) / 20.0)
        let_go = self._juice * loose * (1.0 - np.exp(-dt_s * rate))
        self._juice = self._juice - let_go
        fed = self._rise * let_go.sum(axis=0) / (self._wet * area)
        retreat = (dt_s * flow / self._wet - fed) / self._porosity
        self._front = np.clip(self._front + retreat, 0.0, 0.5 * p.half_m)

    def core_c(self, place: Array) -> Array:
        return _at(self._cells, place)


PLANTS: dict[str, type[ShrinkingCells] | type[TwoNode] | type[DryingFront]] = {
    "shrinking-cells": ShrinkingCells,
    "two-node": TwoNode,
    "drying-front": DryingFront,
}


def _vapour(way: Array, wet_c: Array, humidity: Array) -> tuple[Array, Array]:
    """Return the vapour from a wet place, kg/m2s, and its slope with temperature (Stefan flow)."""
    dry = PRESSURE_PA - vapour_pressure_pa(humidity)
    steam = np.minimum(saturation_pa(wet_c), 0.995 * PRESSURE_PA)
    scale = way * PRESSURE_PA / (VAPOUR_GAS_CONSTANT * (wet_c + ZERO_K))
    flow = scale * np.log(dry / (PRESSURE_PA - steam))
    slope = scale * steam * 3885.70 / (wet_c + 230.170) ** 2 / (PRESSURE_PA - steam)
    return flow, slope


def _at(cells_c: Array, place: Array) -> Array:
    """Return the temperature at a share of the way out of the centre."""
    position = place * (len(cells_c) - 1)
    low = np.floor(position).astype(int)
    part, columns = position - low, np.arange(cells_c.shape[1])
    return np.asarray(cells_c[low, columns] * (1 - part) + cells_c[low + 1, columns] * part)
