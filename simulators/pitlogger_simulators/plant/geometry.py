"""Shape: cells that follow the dry solids, between centre and surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitlogger_simulators.plant.properties import Array

# Outer cells are thinner: that is where drying happens.
_GRADING = 1.3


@dataclass(frozen=True, slots=True)
class Geometry:
    """A body whose area grows from the centre as ``(x/L)^shape``.

    ``shape`` is 0 for a slab, 1 for a long cylinder, 2 for a sphere, and what lies between.

    Attributes:
        area_m2: Exposed surface, shape (n,).
        face_area_per_length: Area over distance between cell centres, (cells - 1, n), m.
        outer_per_length: The same from the outer cell's centre to the surface, (n,), m.
        depth_m: Depth of cell centres below the surface, (cells, n).
    """

    area_m2: Array
    half_thickness_m: Array
    face_area_per_length: Array
    outer_per_length: Array
    depth_m: Array


def cell_shares(cells: int, shape: Array) -> Array:
    """Return the share of the volume in each cell, shape (cells, n)."""
    edges = 1.0 - (1.0 - np.arange(cells + 1) / cells) ** _GRADING
    return np.diff(edges[:, None] ** (shape + 1.0), axis=0)


def measure(cell_volume_m3: Array, half_thickness_m: Array, shape: Array) -> Geometry:
    """Return the geometry of cells of known volume.

    ``half_thickness_m`` is that of the present volume; the area follows from both.
    """
    cumulative = np.cumsum(cell_volume_m3, axis=0)
    volume = cumulative[-1]
    area = (shape + 1.0) * volume / half_thickness_m
    shares = cumulative[:-1] / volume
    faces = shares ** (1.0 / (shape + 1.0))  # x/L
    face_area = area * shares / faces
    edges = np.concatenate([np.zeros((1, len(volume))), faces, np.ones((1, len(volume)))])
    edges = edges * half_thickness_m
    centres = 0.5 * (edges[1:] + edges[:-1])
    return Geometry(
        area,
        half_thickness_m,
        face_area / np.diff(centres, axis=0),
        area / (half_thickness_m - centres[-1]),
        half_thickness_m - centres,
    )
