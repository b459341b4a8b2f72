"""The three plants of training: what must hold of each, whatever its structure."""

from __future__ import annotations

import numpy as np
import pytest

from pitlogger_simulators.plant.cuts import CUT_SHAPES
from tools.forecast_library.plants import PLANTS, Pieces

FACTORS = (
    "conductivity_factor", "wet_share", "to_surface", "expulsion_per_s_60c", "holding_centre_c",
    "film_max", "bark_resistance",
)  # fmt: skip
# wrap: vapour, radiation, convection; the refitted plant's own
WRAPS = {"none": (1.0, 1.0, 1.0), "paper": (0.12, 0.97, 0.97), "foil": (0.0043, 0.62, 0.72)}
F165, F195 = 73.9, 90.6


def packers(mass_kg: np.ndarray, wrap: str) -> Pieces:
    n, (vapour, radiation, still) = len(mass_kg), WRAPS[wrap]
    shapes = [CUT_SHAPES["brisket-packer"].shape(1000.0 * float(m)) for m in mass_kg]
    half = np.array([s.half_thickness_m for s in shapes])
    area = np.array([s.area_m2 for s in shapes])
    one = np.ones(n)
    compact = np.clip(area * half * 1030 / mass_kg - 1, 0, 2)
    return Pieces(
        ["brisket-packer"] * n, mass_kg, half, area, compact,
        5.0 * one, 8.5 * one, 8.0 * one, 0.04 * one, vapour * one, radiation * one, still * one,
        {name: one.copy() for name in FACTORS},
    )  # fmt: skip


def cooked(plant: str, pieces: Pieces, pit_c: float, hours: float, wrap: str) -> np.ndarray:
    """Return the cores every minute, wrapped at 165 F."""
    body, on = PLANTS[plant](pieces), np.zeros(len(pieces), dtype=bool)
    air, centre, out = np.full(len(pieces), pit_c), np.zeros(len(pieces)), []
    for _ in range(int(60 * hours)):
        out.append(body.core_c(centre))
        on |= (out[-1] >= F165) & (wrap != "none")
        body.step(60.0, air, on)
    return np.array(out)


def hours_to(core_c: np.ndarray, target_c: float) -> np.ndarray:
    reached = core_c >= target_c
    return np.where(reached.any(axis=0), reached.argmax(axis=0) / 60.0, np.inf)


@pytest.mark.parametrize(("wrap", "hours"), [("none", 12.0), ("paper", 11.5), ("foil", 9.6)])
@pytest.mark.parametrize("plant", PLANTS)
def test_each_plant_takes_about_as_long_as_was_measured(
    plant: str, wrap: str, hours: float
) -> None:
    """A packer of 11.5 lb trimmed at 238 F to 195 F."""
    core = cooked(plant, packers(np.array([5.2]), wrap), 114.4, 16.0, wrap)
    assert hours_to(core, F195)[0] == pytest.approx(hours, rel=0.1)


@pytest.mark.parametrize("plant", PLANTS)
def test_a_core_never_passes_the_pit_and_a_larger_piece_takes_longer(plant: str) -> None:
    core = cooked(plant, packers(np.array([2.5, 4.0, 6.5]), "none"), 114.4, 20.0, "none")
    assert core.max() < 114.4
    took = hours_to(core, F195)
    assert took[0] < took[1] < took[2]


@pytest.mark.parametrize("plant", PLANTS)
def test_a_hotter_pit_is_quicker_and_foil_shortens_the_cook(plant: str) -> None:
    bare = packers(np.array([5.2]), "none")
    slow, fast = (hours_to(cooked(plant, bare, c, 22.0, "none"), F195)[0] for c in (110.0, 125.0))
    assert fast < slow
    foil = hours_to(cooked(plant, packers(np.array([5.2]), "foil"), 110.0, 22.0, "foil"), F195)[0]
    assert foil < slow
