"""A load cell under a grate: likeliest faults are drift by heat, wind, a look, wood laid beside."""

from __future__ import annotations

import random
from dataclasses import asdict

import pytest

from pitlogger.pipeline.grate import Grate, Moved

STEP_S = 5


class Cell:
    """A load cell in a pit: mass, drift, wind."""

    def __init__(self, seed: int, drift_g_per_k: float, noise_g: float = 3.0) -> None:
        self.rng, self.drift, self.noise_g = random.Random(seed), drift_g_per_k, noise_g
        self.grate, self.t_ms, self.pit_c, self.cell_c = Grate(), 0, 20.0, 20.0
        self.mass_g, self.found = 0.0, list[Moved]()

    def run(self, minutes: float, pit_c: float | None = None, loss_g_per_h: float = 0.0) -> None:
        for _ in range(round(minutes * 60 / STEP_S)):
            self.t_ms += STEP_S * 1000
            if pit_c is not None:
                self.pit_c += (pit_c - self.pit_c) * STEP_S / 900
            self.cell_c += (self.pit_c - self.cell_c) * STEP_S / 600
            self.mass_g -= loss_g_per_h * STEP_S / 3600
            shown = self.mass_g + self.drift * (self.cell_c - 20) + self.rng.gauss(0, self.noise_g)
            moved = self.grate.update(
                self.t_ms, round(shown) * 1000, lambda: round(self.pit_c * 1000)
            )
            if moved is not None:
                self.found.append(moved)

    def put(self, mass_g: float) -> None:
        self.mass_g += mass_g


@pytest.mark.parametrize("drift", [-1.5, 0.0, 0.4, 3.0])
@pytest.mark.parametrize("seed", range(4))
def test_a_whole_cook_is_followed_by_its_mass(seed: int, drift: float) -> None:
    """Loaded, wood laid on, wrapped in paper, taken off; the pit goes down and up meanwhile."""
    cell = Cell(seed, drift)
    cell.run(75, pit_c=120)
    cell.put(5830)
    cell.run(150, pit_c=118, loss_g_per_h=190)
    cell.put(90)  # a chunk of wood beside it
    cell.run(60, pit_c=105, loss_g_per_h=190)
    lost_g = -cell.grate.slow_mg / 1000
    assert lost_g == pytest.approx(190 * 3.5, abs=60)
    before_g = cell.mass_g
    cell.put(-before_g)
    cell.run(4, pit_c=110)
    cell.put(before_g + 45)
    cell.run(120, pit_c=120, loss_g_per_h=60)
    off_g = cell.mass_g - 45 - 90  # without paper and wood
    cell.put(-off_g - 45)
    cell.run(15, pit_c=110)
    assert [one.checkpoint for one in cell.found] == ["on-pit", "at-wrap", "off-pit"]
    masses_g = [one.mass_mg / 1000 for one in cell.found]
    assert masses_g == pytest.approx([5830, before_g, off_g], abs=60)


def test_drips_into_a_pan_are_a_slow_gain_and_water_poured_in_is_added() -> None:
    cell = Cell(1, 0.0)
    cell.run(20, pit_c=120)
    cell.put(900)  # the pan
    cell.run(60, loss_g_per_h=-80)
    cell.put(140)  # some water
    cell.run(60, loss_g_per_h=-80)
    assert cell.grate.slow_mg / 1000 == pytest.approx(160, abs=15)
    assert cell.grate.added_mg / 1000 == pytest.approx(140, abs=15)


def test_a_look_lifts_it_and_puts_it_back_as_it_was() -> None:
    cell = Cell(2, 0.0)
    cell.run(20, pit_c=120)
    cell.put(4400)
    cell.run(30)
    cell.put(-4400)
    cell.run(3)
    cell.put(4398)
    cell.run(30)
    assert [one.checkpoint for one in cell.found] == ["on-pit"]


def test_an_empty_cell_that_drifts_and_a_cell_in_the_wind_tell_of_nothing() -> None:
    for cell in (Cell(3, 4.0), Cell(4, 0.0, noise_g=60)):
        cell.run(240, pit_c=150)
        cell.run(240, pit_c=40)
        assert cell.found == []


def test_a_snapshot_goes_on_as_if_never_stopped() -> None:
    whole, cut = Cell(5, 1.0), Cell(5, 1.0)
    for cell in (whole, cut):
        cell.run(60, pit_c=120)
        cell.put(5000)
        cell.run(7)
    cut.grate = Grate(**asdict(cut.grate))
    for cell in (whole, cut):
        cell.run(60, loss_g_per_h=100)
    assert asdict(whole.grate) == asdict(cut.grate)
