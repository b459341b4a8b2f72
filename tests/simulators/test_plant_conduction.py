"""Conduction against the full series, physical cases, and scipy's stiff integrator.

``heisler_check.csv`` and ``conduction_physical_check.csv`` hold the full Fourier and Bessel
series (60 terms); their first terms agree with the tables of standard heat-transfer textbooks.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from pitlogger_simulators.plant.body import Body
from pitlogger_simulators.plant.boundary import Boundary
from pitlogger_simulators.plant.conduction import eliminate
from pitlogger_simulators.plant.cuts import BodyShape, PieceSpec
from pitlogger_simulators.plant.geometry import Geometry, cell_shares, measure
from pitlogger_simulators.plant.properties import Array, Composition

DATA = Path(__file__).parent.parent / "data"
SHAPES = {"slab": 0.0, "cylinder": 1.0, "sphere": 2.0}


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def grid(geometry: str, half_m: float, cells: int) -> tuple[Array, Geometry]:
    """Return cell volumes per square metre of surface and the geometry."""
    shape = np.array([SHAPES[geometry]])
    volumes = cell_shares(cells, shape) * half_m / (shape + 1.0)
    return volumes, measure(volumes, np.array([half_m]), shape)


def warmed(
    geometry: str,
    half_m: float,
    film: float,
    conductivity: float,
    heat_per_m3: float,
    start_c: float,
    air_c: float,
    seconds: float,
    steps: int,
    cells: int,
) -> tuple[float, float]:
    """Return centre and surface after heating with a constant film coefficient."""
    volumes, shape = grid(geometry, half_m, cells)
    capacity = volumes * heat_per_m3
    links = conductivity * shape.face_area_per_length
    skin = 1.0 / (conductivity * shape.outer_per_length)
    out = 1.0 / (film * shape.area_m2)
    temperature = np.full((cells, 1), start_c)
    for _ in range(steps):
        step = eliminate(temperature, capacity, links, seconds / steps)
        heat = (air_c - step.rest_c) / (out + skin + step.per_watt)
        temperature = step.finish(heat)
    heat = (air_c - temperature[-1]) / (out + skin)
    return float(temperature[0, 0]), float((air_c - heat * out)[0])


@pytest.mark.parametrize(
    "row",
    rows("heisler_check.csv"),
    ids=lambda r: f"{r['geometry']}-Bi{r['Bi_hL_over_k']}-Fo{r['Fo']}",
)
def test_bodies_warm_as_the_series_says(row: dict[str, str]) -> None:
    centre, surface = warmed(
        row["geometry"], 1.0, float(row["Bi_hL_over_k"]), 1.0, 1.0, 1.0, 0.0, float(row["Fo"]),
        1000, 32,
    )  # fmt: skip
    assert centre == pytest.approx(float(row["theta_centre"]), abs=0.002)
    assert surface == pytest.approx(float(row["theta_surface"]), abs=0.002)


@pytest.mark.parametrize("row", rows("conduction_physical_check.csv"), ids=lambda r: r["Fo"])
def test_meat_sized_bodies_warm_in_degrees_and_seconds(row: dict[str, str]) -> None:
    centre, surface = warmed(
        row["geometry"],
        float(row["half_thickness_or_radius_m"]),
        float(row["h_W_m2K"]),
        float(row["k_W_mK"]),
        float(row["rho_kg_m3"]) * float(row["cp_J_kgK"]),
        float(row["T_initial_C"]),
        float(row["T_ambient_C"]),
        float(row["time_s"]),
        500,
        24,
    )
    assert centre == pytest.approx(float(row["T_centre_C"]), abs=0.2)
    assert surface == pytest.approx(float(row["T_surface_C"]), abs=0.2)


@pytest.mark.parametrize("geometry", SHAPES)
def test_the_implicit_step_agrees_with_a_stiff_integrator(geometry: str) -> None:
    """The same cells integrated by scipy's BDF at 1e-9 leave only the error of time steps."""
    cells, film, air_c = 12, 15.0, 110.0
    volumes, shape = grid(geometry, 0.035, cells)
    capacity = (volumes * 3.5e6)[:, 0]
    links = (0.47 * shape.face_area_per_length)[:, 0]
    skin = 1.0 / (0.47 * float(shape.outer_per_length[0])) + 1.0 / film

    def rate(_: float, t: Array) -> Array:
        flow = links * (t[1:] - t[:-1])
        out = np.zeros(cells)
        out[:-1] += flow
        out[1:] -= flow
        out[-1] += (air_c - t[-1]) / skin
        return out / capacity

    exact = solve_ivp(rate, (0.0, 7200.0), np.full(cells, 4.0), "BDF", rtol=1e-9, atol=1e-9)
    centre, _ = warmed(geometry, 0.035, film, 0.47, 3.5e6, 4.0, air_c, 7200.0, 7200, cells)
    assert centre == pytest.approx(exact.y[0, -1], abs=0.02)


def test_a_body_that_neither_dries_nor_melts_follows_the_series() -> None:
    """The whole step, vapour shut off: a slab of dry solids, Bi and Fo of one."""
    half = 0.03
    solid = Composition(protein=1.0)
    spec = PieceSpec(
        "other", 3000.0, start_c=20.0, body=BodyShape(half, 3.0 / 1298.8 / half, solid)
    )
    body = Body(spec, n_cells=32)
    k = float(body.meat.conductivity[0])
    heat = float((body.meat.capacity().sum(axis=0) / body.meat.raw_volume)[0])
    boundary = Boundary(80.0, 80.0, 0.0, k / half, 0.0, 0.0)
    seconds = heat * half**2 / k
    for _ in range(1000):
        body.step(seconds / 1000, boundary)
    assert (80.0 - body.core_c[0]) / 60.0 == pytest.approx(0.533859, abs=0.003)


def test_n_bodies_are_computed_as_each_by_itself() -> None:
    volumes, shape = grid("cylinder", 0.04, 12)
    start = np.linspace(5.0, 60.0, 12)[:, None]
    alone = eliminate(start, volumes * 3e6, 0.5 * shape.face_area_per_length, 30.0)
    both = eliminate(
        np.repeat(start, 2, axis=1),
        np.repeat(volumes * 3e6, 2, axis=1),
        np.repeat(0.5 * shape.face_area_per_length, 2, axis=1),
        30.0,
    )
    one = alone.finish(np.array([20.0]))
    assert np.array_equal(both.finish(np.array([20.0, 20.0]))[:, :1], one)
