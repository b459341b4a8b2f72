"""Draw the pictures of docs/plant.md and print the figures of its tables.

    python -m docs.make_plant_pictures

Needs matplotlib (dependency group ``pictures``); nothing at run time does.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import matplotlib as mpl
import numpy as np

from pitlogger_simulators.plant.body import Body
from pitlogger_simulators.plant.boundary import Boundary
from pitlogger_simulators.plant.cuts import PieceSpec
from pitlogger_simulators.plant.parameters import SPREAD, Parameters
from pitlogger_simulators.plant.pits import Pit
from tests.simulators.cook_events import PlantEvent
from tests.simulators.whole_cooks import Run, simulate, simulate_batch

mpl.use("Agg")
from matplotlib import pyplot as plt

ROOT = Path(__file__).parent
PICTURES = ROOT / "pictures"
PACKER = PieceSpec("brisket-packer", 3900.0)
F165, F195, F203, HOUR = 73.9, 90.6, 95.0, 3600.0
WRAPS = {"none": "#444444", "paper": "#b0702a", "foil": "#3a6ea5"}


def fahrenheit(celsius: np.ndarray) -> np.ndarray:
    return celsius * 1.8 + 32.0


def cook(wrap: str, pit_c: float = 114.4, dt_s: float = 30.0, hours: float = 17.0) -> Run:
    schedule = () if wrap == "none" else (PlantEvent("wrap", wrap, core_c=F165),)
    return simulate(
        PACKER, schedule=schedule, pit=Pit("still", pit_c), duration_s=hours * HOUR, dt_s=dt_s
    )


def save(figure: plt.Figure, name: str) -> None:
    figure.tight_layout()
    figure.savefig(PICTURES / f"{name}.png", dpi=72, metadata={"Software": None})
    plt.close(figure)


def three_wraps() -> None:
    """Core, surface and mass of the default packer, bare, in paper, in foil."""
    figure, (left, right) = plt.subplots(1, 2, figsize=(10, 4))
    for wrap, colour in WRAPS.items():
        run = cook(wrap)
        hours = run.time_s / HOUR
        shown = hours <= max(10.0, float(run.time_to_s(F203)) / HOUR)
        left.plot(hours[shown], fahrenheit(run.core_c)[shown], color=colour, label=wrap)
        left.plot(hours[shown], fahrenheit(run.surface_c)[shown], color=colour, lw=0.6, ls="--")
        right.plot(hours[shown], run.mass_g[shown] / 1000.0, color=colour, label=wrap)
    left.set(xlabel="hours", ylabel="F (core; dashed: surface)")
    right.set(xlabel="hours", ylabel="kg of meat")
    left.legend(), left.grid(alpha=0.3), right.grid(alpha=0.3)
    save(figure, "plant-wraps")


def draws() -> None:
    """Unwrapped stalls of 40 draws."""
    runs = simulate_batch(
        PACKER, 40, pit=Pit("still"), duration_s=18 * HOUR, dt_s=60.0, seed=1, record_s=300.0
    )
    figure, axis = plt.subplots(figsize=(7, 4))
    axis.plot(runs.time_s / HOUR, fahrenheit(runs.core_c), color="#444444", lw=0.6, alpha=0.6)
    axis.set(xlabel="hours", ylabel="core, F")
    axis.grid(alpha=0.3)
    save(figure, "plant-draws")


def hours_to(cells: int, target_c: float) -> float:
    body, steps = Body(PACKER, Parameters(), cells), 0
    while body.core_c[0] < target_c:
        seen = Boundary(114.4, 106.4, 0.03)
        body.step(15.0, seen.wrapped("paper") if body.core_c[0] >= F165 else seen)
        steps += 1
    return steps * 15.0 / HOUR


def convergence() -> None:
    """How cells and steps move the times to 165 and 203 F."""
    cells, steps_s = (6, 8, 12, 16, 24, 36, 48), (5.0, 10.0, 20.0, 30.0, 60.0)
    by_cells = np.array([[hours_to(n, target) for target in (F165, F203)] for n in cells])
    runs = [cook("paper", dt_s=dt_s, hours=16.0) for dt_s in steps_s]
    by_step = np.array([[float(r.time_to_s(t)) / HOUR for t in (F165, F203)] for r in runs])
    figure, axes = plt.subplots(1, 2, figsize=(10, 3.6))
    for axis, x, table, best, label in (
        (axes[0], cells, by_cells, -1, "cells"),
        (axes[1], steps_s, by_step, 0, "step, s"),
    ):
        off = 60.0 * (table - table[best])
        axis.plot(x, off[:, 0], "o-", color="#444444", label="to 165 F")
        axis.plot(x, off[:, 1], "s-", color="#b0702a", label="to 203 F in paper")
        axis.set(xlabel=label, ylabel="minutes off the finest")
        axis.grid(alpha=0.3), axis.legend()
        for value, row in zip(x, off, strict=True):
            print(f"{label} {value:g}: {row[0]:+.1f} and {row[1]:+.1f} min")
    save(figure, "plant-convergence")


def records() -> None:
    """Two logged pork shoulders and the plant."""
    with (ROOT.parent / "tests/data/measured_cooks.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    figure, axis = plt.subplots(figsize=(7, 4))
    for name, mass_g, pit_f, wrap, colour in (
        ("M04", 2040.0, 230.0, (), "#444444"),
        ("M05", 3860.0, 275.0, (PlantEvent("wrap", "foil", at_s=3.5 * HOUR),), "#3a6ea5"),
    ):
        run = simulate(
            PieceSpec("pork-butt", mass_g, start_c=7.5),
            schedule=wrap,
            pit=Pit("still", (pit_f - 32.0) / 1.8),
            duration_s=8 * HOUR,
        )
        points = [(float(r["hours"]), float(r["core_F"])) for r in rows if r["id"] == name]
        axis.plot(run.time_s / HOUR, fahrenheit(run.core_c), color=colour)
        label = f"{mass_g / 1000:.1f} kg, {pit_f:.0f} F"
        axis.plot(*zip(*points, strict=True), "o", color=colour, label=label)
    axis.set(xlabel="hours", ylabel="core, F (points: logged)", xlim=(0, 8), ylim=(30, 215))
    axis.legend(), axis.grid(alpha=0.3)
    save(figure, "plant-records")


def defaults() -> None:
    """Print the table of the default packer."""
    for pit_f, pit_c in ((225, 107.2), (238, 114.4), (250, 121.1)):
        for wrap in ("foil", "paper", "none"):
            run = cook(wrap, pit_c, hours=24.0)
            done_s = float(run.time_to_s(F203))
            row = int(done_s / 30.0)
            print(
                f"{pit_f} F {wrap}: 150 F {float(run.time_to_s(65.6)) / HOUR:.1f} h, "
                f"165 F {float(run.time_to_s(F165)) / HOUR:.1f} h, 203 F {done_s / HOUR:.1f} h, "
                f"loss {100 * run.loss[row]:.1f} %, vapour {run.evaporated_g[row] / 1000:.2f}, "
                f"juice {run.dripped_g[row] / 1000:.2f}, fat {run.rendered_g[row] / 1000:.2f} kg"
            )


def bands() -> None:
    """Print hours and losses of 400 draws of a packer of 11.5 lb trimmed at 238 F."""
    for wrap in WRAPS:
        schedule = () if wrap == "none" else (PlantEvent("wrap", wrap, core_c=F165),)
        runs = simulate_batch(
            PieceSpec("brisket-packer", 5200.0), 400, schedule=schedule, pit=Pit("still"),
            duration_s=24 * HOUR, dt_s=60.0, seed=5, record_s=120.0,
        )  # fmt: skip
        hours = {target: runs.time_to_s(target) / HOUR for target in (F165, F195)}
        loss = 100.0 * runs.loss_at_s(runs.time_to_s(F203))
        shown = [np.nanpercentile(values, (10, 50, 90)) for values in (*hours.values(), loss)]
        print(wrap, *(" ".join(f"{value:.1f}" for value in row) for row in shown), sep=" | ")


def movers() -> None:
    """Print what one spread of each parameter does to the default packer in paper."""
    paper, default = (PlantEvent("wrap", "paper", core_c=F165),), Parameters()

    def times(parameters: Parameters, pit: Pit) -> np.ndarray:
        run = simulate(PACKER, parameters, schedule=paper, pit=pit, duration_s=16 * HOUR)
        return np.array([float(run.time_to_s(target)) / HOUR for target in (F165, F203)])

    still = Pit("still")
    usual = times(default, still)
    changed = {
        name: times(replace(default, **{name: getattr(default, name) * np.exp(spread)}), still)
        for name, spread in SPREAD.items()
    }
    changed["walls below air"] = times(default, replace(still, wall_drop_c=8.0 * np.exp(0.25)))
    for name, hours in sorted(changed.items(), key=lambda item: -abs(item[1] - usual).max()):
        to_165, to_203 = hours - usual
        print(f"{name}: {to_165:+.2f} h to 165 F, {to_203:+.2f} h to 203 F")


if __name__ == "__main__":
    PICTURES.mkdir(exist_ok=True)
    three_wraps()
    draws()
    convergence()
    records()
    defaults()
    bands()
    movers()
