"""The state of pieces of meat: cells of water, fat and dry solids with a temperature."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from pitlogger_simulators.plant.cuts import PieceSpec, with_fat
from pitlogger_simulators.plant.geometry import Geometry, cell_shares, measure
from pitlogger_simulators.plant.parameters import Parameters
from pitlogger_simulators.plant.properties import Array, Composition, component, mixture

# Heat capacity and density of each component are taken at one temperature, so that heat is
# a plain product and closes exactly; they change by less than 3 % over a cook.
REFERENCE_C = 60.0
WATER = component("water", REFERENCE_C)
FAT = component("fat", REFERENCE_C)
CP_WATER = WATER.heat_capacity
CP_FAT = FAT.heat_capacity
MAX_FAT = 0.75


@dataclass(slots=True)
class Meat:
    """State of n pieces; cells first, so arrays have shape (cells, n) or (n,).

    Masses are in kg of one piece (a batch of like pieces is computed once).
    """

    temperature_c: Array
    water: Array
    fat: Array
    solids: Array
    raw_water: Array
    lasting_fat: Array  # what will not render
    collagen: Array
    film: Array  # juice at the surface, kg
    bark: Array  # age of the bark, 1 is half set
    shape: Array
    raw_half_m: Array
    raw_volume: Array
    conductivity: Array
    solid_heat: Array  # J/(kg K)
    solid_volume: Array  # m3/kg

    def capacity(self) -> Array:
        """Return heat capacities of the cells, J/K; the film belongs to the outer cell."""
        out = CP_WATER * self.water + CP_FAT * self.fat + self.solid_heat * self.solids
        out[-1] += CP_WATER * self.film
        return out

    def enthalpy_j(self) -> Array:
        """Return the heat of each piece above 0 C, shape (n,)."""
        total: Array = (self.capacity() * self.temperature_c).sum(axis=0)
        return total

    def mass_kg(self) -> Array:
        """Return the mass of each piece with its wet surface, shape (n,)."""
        total: Array = (self.water + self.fat + self.solids).sum(axis=0) + self.film
        return total

    def volumes(self) -> Array:
        """Return cell volumes, m3."""
        return self.water / WATER.density + self.fat / FAT.density + self.solids * self.solid_volume

    def geometry(self) -> Geometry:
        """Return the present geometry: length shrinks as the cube root of volume."""
        volumes = self.volumes()
        half = self.raw_half_m * np.cbrt(volumes.sum(axis=0) / self.raw_volume)
        return measure(volumes, half, self.shape)

    def portion(self, share: float) -> Meat:
        """Return a part cut across: the same profile, less of it."""
        copied = {f.name: getattr(self, f.name).copy() for f in fields(self)}
        for name in ("water", "fat", "solids", "raw_water", "lasting_fat", "film", "raw_volume"):
            copied[name] *= share
        return Meat(**copied)


def raw(specs: Sequence[PieceSpec], parameters: Parameters, n_cells: int) -> Meat:
    """Return raw meat at its start temperature.

    ``parameters`` hold arrays of shape (n,); ``specs`` are n, or one for all.
    """
    n = len(np.asarray(parameters.area_factor))
    each = list(specs) * (n if len(specs) == 1 else 1)
    shapes = [spec.shape() for spec in each]
    fat_factor = np.asarray(parameters.fat_factor)
    made = [
        with_fat(s.composition, min(MAX_FAT, s.composition.fat * float(factor)))
        for s, factor in zip(shapes, fat_factor, strict=True)
    ]
    mass = np.array([spec.unit_mass_g for spec in each]) / 1000.0
    solid = [_solids(c) for c in made]
    density = np.array([mixture(c, REFERENCE_C).density for c in made])
    half = np.array([s.half_thickness_m for s in shapes]) * parameters.thickness_factor
    area = np.array([s.area_m2 for s in shapes]) * parameters.area_factor
    # Beyond a sphere the area law has no meaning: such a body is a sphere of its thickness.
    shape = np.clip(area * half * density / mass - 1.0, 0.0, 2.0)
    shares = cell_shares(n_cells, shape) * mass
    water = shares * np.array([c.water for c in made])
    fat = shares * np.array([c.fat for c in made])
    start = np.array([spec.start_c for spec in each])
    return Meat(
        temperature_c=np.broadcast_to(start, water.shape).astype(float),
        water=water,
        fat=fat,
        solids=shares * np.array([1.0 - c.water - c.fat for c in made]),
        raw_water=water.copy(),
        lasting_fat=fat * (1.0 - np.asarray(parameters.renderable)),
        collagen=np.zeros_like(water),
        film=np.zeros(n),
        bark=np.zeros(n),
        shape=shape,
        raw_half_m=np.asarray(half),
        raw_volume=mass / density,
        conductivity=np.array([mixture(c, REFERENCE_C).conductivity for c in made])
        * parameters.conductivity_factor,
        solid_heat=np.array([heat for heat, _ in solid]),
        solid_volume=np.array([volume for _, volume in solid]),
    )


def _solids(composition: Composition) -> tuple[float, float]:
    # Heat capacity and specific volume of what is neither water nor fat.
    names = ("protein", "ash", "carbohydrate", "fibre")
    parts = [(getattr(composition, name), component(name, REFERENCE_C)) for name in names]
    total = sum(share for share, _ in parts)
    heat = sum(share * part.heat_capacity for share, part in parts) / total
    return heat, sum(share / part.density for share, part in parts) / total


def rearranged(pieces: Sequence[Meat], half_thickness_m: float, shape: float = 0.0) -> Meat:
    """Return pieces cut or pulled and mixed into one body of even temperature.

    Mass and heat are those of all together. Slices in a pan and pulled meat are such.
    """
    first = pieces[0]
    cells = len(first.water)
    shares = cell_shares(cells, np.array([shape]))

    def spread(name: str) -> Array:
        return shares * sum(float(getattr(piece, name).sum()) for piece in pieces)

    solids = spread("solids")
    solid_kg = [float(piece.solids.sum()) for piece in pieces]

    def by_solids(name: str) -> Array:
        return np.array(
            [np.average([float(getattr(p, name)[0]) for p in pieces], weights=solid_kg)]
        )

    collagen = np.average([float(p.collagen.mean()) for p in pieces], weights=solid_kg)
    mixed = Meat(
        temperature_c=np.zeros((cells, 1)),
        water=spread("water"),
        fat=spread("fat"),
        solids=solids,
        raw_water=spread("raw_water"),
        lasting_fat=spread("lasting_fat"),
        collagen=np.full((cells, 1), collagen),
        film=np.array([sum(float(piece.film[0]) for piece in pieces)]),
        bark=np.zeros(1),
        shape=np.array([shape]),
        raw_half_m=np.array([half_thickness_m]),
        raw_volume=np.ones(1),
        conductivity=by_solids("conductivity"),
        solid_heat=by_solids("solid_heat"),
        solid_volume=by_solids("solid_volume"),
    )
    mixed.raw_volume = mixed.volumes().sum(axis=0)
    heat = sum(float(piece.enthalpy_j()[0]) for piece in pieces)
    mixed.temperature_c += heat / float(mixed.capacity().sum())
    return mixed
