"""Pieces of meat in time: one call advances n pieces by one step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pitlogger.errors import UsageError
from pitlogger_simulators.plant import kinetics
from pitlogger_simulators.plant.boundary import Boundary
from pitlogger_simulators.plant.conduction import eliminate
from pitlogger_simulators.plant.cuts import PieceSpec
from pitlogger_simulators.plant.geometry import Geometry
from pitlogger_simulators.plant.meat import CP_FAT, CP_WATER, Meat, raw
from pitlogger_simulators.plant.parameters import Parameters
from pitlogger_simulators.plant.properties import Array, Mask
from pitlogger_simulators.plant.surface import (
    Wetness,
    exchange,
    solve_surface,
    wetness,
)
from pitlogger_simulators.plant.vapour import ZERO_K, latent_j_kg

N_CELLS = 12
# Water in meat, m2/s: permeability 1e-17 m2 times storage modulus 95 kPa (raw and cooked
# part together) over the viscosity of water at 60 C, 0.47 mPa s. The first two are companion
# constants of published models of the van der Sman kind. Drying by plain diffusion, 4e-10,
# would leave dry shells that wetter air keeps leaking: then wet air could slow a cook.
DIFFUSIVITY = 2e-9
# However hot and dry, a step takes at most so much of the water of the outer cell.
_AT_MOST = 0.3
# Diffusion, rendering, softening and shrinking are slow: computed once in so many seconds with
# ``N_CELLS``, and with finer cells as much oftener as their outer one dries out sooner.
_SLOW_S = 120.0


@dataclass(slots=True)
class Ledger:
    """What crossed the surface since the start, per piece, arrays of shape (n,).

    Heat in joule above 0 C; masses in kg. ``kept`` is what of juice and fat lies in the
    wrap; it is counted in ``dripped`` and ``rendered`` too.
    """

    heat_j: Array
    vapour_j: Array
    liquid_j: Array
    evaporated: Array
    dripped: Array
    rendered: Array
    kept: Array

    @classmethod
    def of(cls, n: int) -> Ledger:
        return cls(*(np.zeros(n) for _ in range(7)))


class Body:
    """n pieces of meat, or n draws of one.

    Args:
        specs: One piece for all, or one each.
        parameters: Default or drawn, see ``Parameters.draw``.
        n_cells: Cells between centre and surface.
    """

    __slots__ = (
        "_geometry",
        "_since_slow_s",
        "_slow_s",
        "count",
        "ledger",
        "meat",
        "parameters",
        "surface_c",
        "vapour_kg_s",
    )

    def __init__(
        self,
        specs: PieceSpec | Sequence[PieceSpec],
        parameters: Parameters | None = None,
        n_cells: int = N_CELLS,
    ) -> None:
        each = [specs] if isinstance(specs, PieceSpec) else list(specs)
        given = parameters or Parameters()
        n = max(len(each), np.asarray(given.area_factor).size)
        if len(each) not in {1, n}:
            raise UsageError(f"{len(each)} pieces with {n} parameter draws: expected 1 or {n}")
        self.parameters = given.spread_over(n)
        self.count = np.broadcast_to([float(spec.count) for spec in each], (n,))
        self._take(raw(each, self.parameters, n_cells))

    def _take(self, meat: Meat) -> None:
        self.meat = meat
        self.ledger = Ledger.of(len(meat.film))
        self.surface_c = meat.temperature_c[-1].copy()
        self.vapour_kg_s = np.zeros(len(meat.film))
        self._geometry = meat.geometry()
        self._since_slow_s = 0.0
        self._slow_s = _SLOW_S * min(1.0, (N_CELLS / len(meat.water)) ** 2)

    @classmethod
    def of(cls, meat: Meat, parameters: Parameters, count: float = 1.0) -> Body:
        """Return one body of meat that is already there (split, sliced, pooled)."""
        body = cls.__new__(cls)
        body.parameters = parameters.spread_over(len(meat.film))
        body.count = np.full(len(meat.film), count)
        body._take(meat)
        return body

    @property
    def core_c(self) -> Array:
        """Temperature at the centre, shape (n,)."""
        core: Array = self.meat.temperature_c[0]
        return core

    @property
    def mass_g(self) -> Array:
        """Mass with its wet surface, without wrap and juice in it."""
        return 1000.0 * self.count * self.meat.mass_kg()

    @property
    def kept_g(self) -> Array:
        """Juice and fat that lie in the wrap or pan."""
        return 1000.0 * self.count * self.ledger.kept

    @property
    def evaporated_g(self) -> Array:
        """Water gone as vapour; negative while more has condensed."""
        return 1000.0 * self.count * self.ledger.evaporated

    @property
    def dripped_g(self) -> Array:
        """Juice that left the meat as liquid."""
        return 1000.0 * self.count * self.ledger.dripped

    @property
    def rendered_g(self) -> Array:
        """Fat that left the meat."""
        return 1000.0 * self.count * self.ledger.rendered

    @property
    def collagen_index(self) -> Array:
        """Share of collagen softened at the centre, 0 to 1; an index, not tenderness."""
        core: Array = self.meat.collagen[0]
        return core

    def cell_c(self, depth_mm: float) -> Array:
        """Return the temperature at a depth under the surface, shape (n,).

        Beyond the centre it is that of the centre.
        """
        depth = depth_mm / 1000.0
        cells, out = self._geometry.depth_m, np.empty(len(self.surface_c))
        for i in range(len(out)):
            depths = np.append(0.0, cells[::-1, i])
            values = np.append(self.surface_c[i], self.meat.temperature_c[::-1, i])
            out[i] = np.interp(depth, depths, values)
        return out

    def release_juice(self, where: Mask | None = None) -> Array:
        """Let go what lies in the wrap and return its mass, g."""
        kept = self.ledger.kept.copy()
        if where is not None:
            kept[~where] = 0.0
        self.ledger.kept = self.ledger.kept - kept
        return 1000.0 * self.count * kept

    def step(self, dt_s: float, boundary: Boundary) -> None:
        """Advance by ``dt_s`` seconds, best at most 60."""
        if self._since_slow_s >= self._slow_s:
            self._change_slowly(self._since_slow_s, boundary)
            self._since_slow_s = 0.0
        self._since_slow_s += dt_s
        meat, area = self.meat, self._geometry.area_m2
        let_go = self._let_go(dt_s)
        share = np.asarray(self.parameters.to_surface)
        rising = share * let_go.sum(axis=0)
        wet = wetness(meat, self.parameters, boundary, area, self.surface_c, rising, dt_s)
        capacity = meat.capacity()
        self._conduct(boundary, wet, capacity, dt_s)
        # From here on temperatures stand still and heat moves with the water that carries it.
        heat = capacity * meat.temperature_c
        dripped = self._move_juice(let_go, share, rising, heat)
        self._evaporate(wet, heat, dt_s)
        dripped += self._overflow(heat)
        meat.temperature_c = heat / meat.capacity()
        self.ledger.dripped += dripped
        self.ledger.kept += boundary.retained * dripped

    def _let_go(self, dt_s: float) -> Array:
        # Juice the proteins let go, kg per cell.
        meat, p = self.meat, self.parameters
        held = meat.raw_water * kinetics.held_water(
            meat.temperature_c, p.holding_centre_c, p.holding_slope_per_c
        )
        rate = (dt_s * p.expulsion_per_s_60c) * kinetics.arrhenius(
            1.0 / (meat.temperature_c + ZERO_K), kinetics.EXPULSION_J_MOL, 60.0 + ZERO_K
        )
        return np.maximum(meat.water - held, 0.0) * (rate / (1.0 + rate))

    def _conduct(self, boundary: Boundary, wet: Wetness, capacity: Array, dt_s: float) -> None:
        meat, geometry = self.meat, self._geometry
        conductance = meat.conductivity * geometry.face_area_per_length
        elimination = eliminate(meat.temperature_c, capacity, conductance, dt_s)
        skin = 1.0 / (meat.conductivity * geometry.outer_per_length)
        available = (meat.film + _AT_MOST * meat.water[-1]) / dt_s
        seen = exchange(boundary, self.parameters, wet, geometry.area_m2, self.surface_c, available)
        self.surface_c, heat_w, self.vapour_kg_s = solve_surface(
            seen, elimination.rest_c, skin + elimination.per_watt, self.surface_c
        )
        latent_j = (dt_s * self.vapour_kg_s) * latent_j_kg(self.surface_c)
        self.ledger.heat_j += dt_s * heat_w + latent_j
        self.ledger.vapour_j += latent_j
        meat.temperature_c = elimination.finish(heat_w)
        meat.bark = meat.bark + (dt_s / 3600.0 / self.parameters.bark_h) * kinetics.arrhenius(
            1.0 / (self.surface_c + ZERO_K), kinetics.BARK_J_MOL, 65.0 + ZERO_K
        )

    def _move_juice(self, let_go: Array, share: Array, rising: Array, heat: Array) -> Array:
        # Rising juice mixes with the outer cell; the rest drips at its cell's temperature.
        meat = self.meat
        carried = CP_WATER * let_go * meat.temperature_c
        heat -= carried
        carried_off = carried.sum(axis=0)
        heat[-1] += share * carried_off
        self.ledger.liquid_j += (1.0 - share) * carried_off
        meat.water = meat.water - let_go
        meat.film = meat.film + rising
        all_of_it: Array = let_go.sum(axis=0)
        return all_of_it - rising

    def _evaporate(self, wet: Wetness, heat: Array, dt_s: float) -> None:
        meat = self.meat
        lost = self.vapour_kg_s * dt_s
        # Condensing water joins the film.
        wished = np.maximum(lost * wet.film_share, lost - _AT_MOST * meat.water[-1])
        from_film = np.where(lost > 0.0, np.minimum(wished, meat.film), lost)
        meat.film = meat.film - from_film
        meat.water[-1] -= lost - from_film
        carried = CP_WATER * lost * meat.temperature_c[-1]
        heat[-1] -= carried
        self.ledger.evaporated += lost
        self.ledger.vapour_j += carried

    def _overflow(self, heat: Array) -> Array:
        meat = self.meat
        over = np.maximum(meat.film - self.parameters.film_max * self._geometry.area_m2, 0.0)
        meat.film = meat.film - over
        carried = CP_WATER * over * meat.temperature_c[-1]
        heat[-1] -= carried
        self.ledger.liquid_j += carried
        return over

    def _change_slowly(self, dt_s: float, boundary: Boundary) -> None:
        # Water diffuses and carries its heat, fat renders, collagen softens, the piece shrinks.
        meat, ledger, cells_c = self.meat, self.ledger, self.meat.temperature_c
        inverse_k = 1.0 / (cells_c + ZERO_K)
        heat = meat.capacity() * cells_c
        flow = diffusion(meat, self._geometry, dt_s)
        carried = CP_WATER * flow * np.where(flow > 0.0, cells_c[:-1], cells_c[1:])
        heat[:-1] -= carried
        heat[1:] += carried
        meat.water[:-1] -= flow
        meat.water[1:] += flow
        rate = (dt_s * kinetics.RENDER_PER_S_70C) * kinetics.arrhenius(
            inverse_k, kinetics.RENDER_J_MOL, 70.0 + ZERO_K
        )
        loose = np.maximum(meat.fat - meat.lasting_fat, 0.0) * kinetics.melted_share(cells_c)
        melted = loose * (rate / (1.0 + rate))
        leaving = CP_FAT * melted * cells_c
        heat -= leaving
        meat.fat = meat.fat - melted
        meat.temperature_c = heat / meat.capacity()
        rate = (dt_s * kinetics.COLLAGEN_PER_S_90C) * kinetics.arrhenius(
            inverse_k, kinetics.COLLAGEN_J_MOL, 90.0 + ZERO_K
        )
        meat.collagen = meat.collagen + (1.0 - meat.collagen) * (rate / (1.0 + rate))
        fat = melted.sum(axis=0)
        ledger.liquid_j += leaving.sum(axis=0)
        ledger.rendered += fat
        ledger.kept += boundary.retained * fat
        self._geometry = meat.geometry()


def diffusion(meat: Meat, geometry: Geometry, dt_s: float) -> Array:
    """Return the water that moves outward between cells in a step, kg, (cells - 1, n).

    The same implicit step as for heat, with water per dry solids in place of temperature.
    """
    solids_kg_m3 = (
        meat.solids.sum(axis=0)
        * (meat.shape + 1.0)
        / (geometry.area_m2 * geometry.half_thickness_m)
    )
    conductance = DIFFUSIVITY * solids_kg_m3 * geometry.face_area_per_length
    tight = np.zeros(len(meat.shape))
    share = eliminate(meat.water / meat.solids, meat.solids, conductance, dt_s).finish(tight)
    flow: Array = dt_s * conductance * (share[:-1] - share[1:])
    return flow
