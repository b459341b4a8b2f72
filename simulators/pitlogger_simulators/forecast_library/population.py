"""Cooks to learn from and to be judged by: plant, probe, pit and people drawn wide.

Each draw differs in size, shape, meat, pit, weather of the fire, wrap and its moment,
place of the probe and quality of the log. Ranges are those of published fits and of
pieces as sold; where a range is assumed it is wide on purpose, since real cooks are a
larger shift than one simulated population is from another.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.shape import FAMILY
from pitlogger_simulators.plant.body import Body
from pitlogger_simulators.plant.boundary import MEAT_EMISSIVITY, Boundary
from pitlogger_simulators.plant.cuts import CUT_SHAPES, PieceSpec
from pitlogger_simulators.plant.cuts import Shape as BodyShape
from pitlogger_simulators.plant.parameters import Parameters

Array = npt.NDArray[np.float64]

DT_S = 30.0
HOURS = 26.0
RECORD_S = 60.0
# family: the cut that stands for it, and its share of the population
FAMILIES = {
    "brisket": ("brisket-packer", 0.42), "pork-shoulder": ("pork-butt", 0.28),
    "beef-roast": ("beef-chuck", 0.07), "lamb": ("lamb-shoulder", 0.05),
    "turkey": ("turkey-breast", 0.04), "chicken": ("chicken-whole", 0.03),
    "pork-belly": ("pork-belly", 0.03), "beef-ribs": ("beef-ribs", 0.04),
    "pork-ribs": ("pork-st-louis", 0.04),
}  # fmt: skip
# wrap: share; lowest and highest factor on vapour and on radiation. Published fitted ranges
# for foil and paper, widened to the plant's own; boat and pan assumed between.
WRAPS = {
    "none": (0.27, (1.0, 1.0), (1.0, 1.0)), "paper": (0.28, (0.02, 0.25), (0.9, 1.0)),
    "foil": (0.30, (0.003, 0.03), (0.4, 0.75)), "boat": (0.07, (0.25, 0.5), (0.7, 0.9)),
    "pan": (0.08, (0.008, 0.1), (0.5, 0.8)),
}  # fmt: skip
# Factors on the plant's own meat parameters, lowest and highest, drawn evenly in logs: far
# wider than the plant draws them, so that stalls of every kind are in.
FACTORS = {
    "wet_share": (0.7, 1.9), "to_surface": (0.7, 1.05), "film_max": (0.5, 2.5),
    "expulsion_per_s_60c": (0.4, 2.0), "holding_centre_c": (0.94, 1.06),
    "holding_slope_per_c": (0.6, 1.1), "bark_h": (0.6, 2.6), "bark_power": (0.1, 1.2),
    "bark_resistance": (0.4, 4.0), "renderable": (0.7, 1.3), "fat_factor": (0.6, 1.5),
    "conductivity_factor": (0.9, 1.1), "area_factor": (0.9, 1.1),
}  # fmt: skip
# Wider still, to the ranges published for ensembles; the forecast learns from these as well.
WIDE_FACTORS = FACTORS | {
    "wet_share": (0.6, 2.3), "to_surface": (0.5, 1.05), "film_max": (0.3, 3.0),
    "expulsion_per_s_60c": (0.3, 3.1), "bark_h": (0.5, 3.2), "bark_power": (0.08, 1.3),
    "bark_resistance": (0.3, 5.0),
}  # fmt: skip
SHIFTED_FACTORS = FACTORS | {
    "wet_share": (1.0, 1.7), "expulsion_per_s_60c": (0.2, 0.5), "bark_h": (1.2, 2.2),
    "bark_power": (0.05, 0.15), "bark_resistance": (0.3, 1.0),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Cooks:
    """A population of ``n`` cooks, one row a minute.

    Attributes:
        core_c: What the probe would show without noise, shape (minutes, n).
        read_c: What it shows; ``nan`` where the log has a gap or had not begun.
        pit_c: What the pit probe shows, shape (minutes, n).
        family, wrap: Names, one a cook. wrapped_min: minute of wrapping, -1 for never.
        wrap_at_c: Planned core temperature of wrapping.
        mass_g, thickness_mm: As a person would say them.
        set_point_c: Set point over time, shape (minutes, n).
    """

    core_c: Array
    read_c: Array
    pit_c: Array
    family: list[str]
    wrap: list[str]
    wrapped_min: npt.NDArray[np.int64]
    wrap_at_c: Array
    mass_g: Array
    thickness_mm: Array
    set_point_c: Array

    def __len__(self) -> int:
        return len(self.family)


@dataclass(frozen=True, slots=True)
class Draw:
    """How wide a population is drawn, lowest and highest of each.

    Attributes:
        factors: On the meat's parameters.
        wall_below_c: Walls of the pit against its air.
        h_c: Convection, W/m2K.
        thicker: Factor on half-thickness. windier: on the wander of the pit.
        offset_c: Pit probe against the air at the meat, beside a normal spread of 2 C. Where it
            sits in the lid it reads hotter (common practice, no source).
    """

    factors: Mapping[str, tuple[float, float]]
    wall_below_c: tuple[float, float] = (3.0, 16.0)
    h_c: tuple[float, float] = (6.0, 12.0)
    thicker: float = 1.0
    windier: float = 1.0
    offset_c: tuple[float, float] = (0.0, 0.0)


USUAL = Draw(FACTORS)
WIDE = Draw(WIDE_FACTORS, (0.0, 20.0), (5.0, 14.0), windier=1.2, offset_c=(-4.0, 10.0))
SHIFTED = Draw(SHIFTED_FACTORS, (8.0, 20.0), (7.5, 15.0), 1.15, 1.6, (-6.0, 6.0))


def simulate(seed: int, n: int, draw: Draw = USUAL, *, hours: float = HOURS) -> Cooks:
    """Return ``n`` cooks; the same seed gives the same cooks."""
    dice = np.random.default_rng(seed)
    family = _chosen(dice, {name: share for name, (_, share) in FAMILIES.items()}, n)
    wrap = _chosen(dice, {name: share for name, (share, _, _) in WRAPS.items()}, n)
    mass_kg, half_mm, compact = _sizes(dice, family, draw)
    parameters = _parameters(dice, n, draw)
    steps = int(hours * 3600 / DT_S)
    set_point, air = _pit(dice, n, steps, draw)
    wrap_at = np.where(dice.random(n) < 0.8, dice.uniform(60.0, 77.0, n), 200.0)
    wrap_at_h = np.where(wrap_at > 100.0, dice.uniform(2.0, 6.5, n), 99.0)
    missed_by = dice.normal(0.0, 1.5, n)
    vapour, radiation, convection = _wrapping(dice, wrap)
    wall_below = dice.uniform(*draw.wall_below_c, n)
    humidity = np.exp(dice.uniform(np.log(0.012), np.log(0.12), n))
    h_c = np.exp(dice.uniform(np.log(draw.h_c[0]), np.log(draw.h_c[1]), n))
    body = Body(_specs(dice, family, mass_kg, half_mm, compact), parameters, n_cells=10)
    place = np.where(dice.random(n) < 0.2, dice.uniform(0.2, 0.55, n), dice.uniform(0.0, 0.15, n))
    every = int(RECORD_S / DT_S)
    core = np.empty((steps // every, n))
    wrapped_min = np.full(n, -1)
    wraps = np.array([w != "none" for w in wrap])
    on = np.zeros(n, dtype=bool)
    with np.errstate(over="ignore", invalid="ignore"):
        for k in range(steps):
            if k % every == 0:
                core[k // every] = _at(body.meat.temperature_c, place)
                now = (
                    wraps
                    & ~on
                    & ((body.core_c >= wrap_at + missed_by) | (k * DT_S / 3600.0 >= wrap_at_h))
                )
                wrapped_min[now] = k // every
                on |= now
            body.step(
                DT_S,
                Boundary(
                    air[k], air[k] - wall_below, humidity, h_c * np.where(on, convection, 1.0),
                    MEAT_EMISSIVITY * np.where(on, radiation, 1.0), np.where(on, vapour, 1.0),
                ),
            )  # fmt: skip
    read, pit = _log(dice, core, air[::every], draw)
    said_at = np.where(wrap_at > 100.0, np.nan, wrap_at)
    cooks = Cooks(
        core, read, pit, family, wrap, wrapped_min, said_at, mass_kg * 1000.0,
        2.0 * half_mm * np.exp(dice.normal(0.0, 0.08, n)), set_point[::every],
    )  # fmt: skip
    return _sound(cooks)


def _sound(cooks: Cooks) -> Cooks:
    """Return the cooks without those (one in thousands) whose outer cell dried to nothing."""
    kept = np.flatnonzero((np.abs(cooks.core_c) < 200.0).all(axis=0))

    def chosen(name: str) -> Any:
        value = getattr(cooks, name)
        return [value[i] for i in kept] if isinstance(value, list) else value[..., kept]

    return Cooks(*(chosen(field.name) for field in fields(Cooks)))


def _chosen(dice: np.random.Generator, shares: dict[str, float], n: int) -> list[str]:
    return [str(name) for name in dice.choice(list(shares), size=n, p=list(shares.values()))]


def _specs(
    dice: np.random.Generator, family: list[str], mass_kg: Array, half_mm: Array, compact: Array
) -> list[PieceSpec]:
    start = np.clip(dice.normal(6.0, 4.0, len(family)), 0.0, 22.0)
    area = (compact + 1.0) * mass_kg / 1030.0 / (half_mm / 1000.0)
    specs = []
    for i, name in enumerate(family):
        cut = FAMILIES[name][0]
        shape = BodyShape(float(half_mm[i]) / 1000.0, float(area[i]), CUT_SHAPES[cut].composition)
        specs.append(
            PieceSpec(cut, float(mass_kg[i]) * 1000.0, start_c=float(start[i]), body=shape)
        )
    return specs


def _sizes(dice: np.random.Generator, family: list[str], draw: Draw) -> tuple[Array, Array, Array]:
    usual = np.array([FAMILY[name] for name in family])
    n = len(family)
    mass = usual[:, 1] * np.exp(dice.normal(0.08, 0.33, n))
    half = usual[:, 0] * (mass / usual[:, 1]) ** 0.28 * np.exp(dice.normal(0.06, 0.15, n))
    half = half * draw.thicker
    return mass, half, np.clip(usual[:, 2] + dice.normal(0.0, 0.15, n), 0.05, 1.9)


def _parameters(dice: np.random.Generator, n: int, draw: Draw) -> Parameters:
    usual = Parameters()
    drawn = {
        name: getattr(usual, name) * np.exp(dice.uniform(np.log(low), np.log(high), n))
        for name, (low, high) in draw.factors.items()
    }
    return replace(usual.spread_over(n), **drawn)


def _wrapping(dice: np.random.Generator, wrap: list[str]) -> tuple[Array, Array, Array]:
    n = len(wrap)
    vapour = np.array([WRAPS[w][1] for w in wrap])
    radiation = np.array([WRAPS[w][2] for w in wrap])
    where = dice.random(n)
    shut = np.exp(np.log(vapour[:, 0]) + where * np.log(vapour[:, 1] / vapour[:, 0]))
    glow = radiation[:, 0] + dice.random(n) * (radiation[:, 1] - radiation[:, 0])
    return shut, glow, dice.uniform(0.75, 0.95, n)


def _pit(dice: np.random.Generator, n: int, steps: int, draw: Draw) -> tuple[Array, Array]:
    """Return set point and air at the meat, both (steps, n)."""
    start = np.clip(dice.normal(116.0, 8.5, n), 102.0, 145.0)
    hours = np.arange(steps)[:, None] * DT_S / 3600.0
    change = np.where(dice.random(n) < 0.25, dice.uniform(-8.0, 18.0, n), 0.0)
    set_point = start + np.where(hours >= dice.uniform(2.5, 9.0, n), change, 0.0)
    tau = dice.uniform(300.0, 1200.0, n)
    sd = dice.uniform(1.0, 5.0, n) * draw.windier
    keep = np.exp(-DT_S / tau)
    wander = np.zeros((steps, n))
    now = dice.normal(0.0, 1.0, n) * sd
    for k in range(steps):
        wander[k] = now
        now = keep * now + np.sqrt(1 - keep**2) * sd * dice.standard_normal(n)
    cycle = dice.uniform(0.0, 4.0, n) * np.sin(
        2 * np.pi * (hours / dice.uniform(0.3, 2.5, n) + dice.random(n))
    )
    air = set_point + wander + cycle + dice.normal(0.0, 3.0, n)
    air -= 40.0 * np.exp(-hours / 0.15)
    _troubles(dice, air, np.asarray(hours[:, 0], dtype=np.float64))
    for column in range(n):
        for _ in range(dice.poisson(3.0)):
            at, deep, back = dice.uniform(1.0, 14.0), dice.uniform(20.0, 55.0), dice.uniform(3, 7)
            since = (hours[:, 0] - at) * 60.0
            dip = np.where(since < 0, 0.0, np.exp(-np.maximum(since - 1.0, 0.0) / (back / 2.0)))
            air[:, column] -= deep * dip * np.clip(since, 0.0, 1.0)
    return set_point, np.maximum(air, 20.0)


def _troubles(dice: np.random.Generator, air: Array, hours: Array) -> None:
    for column in np.flatnonzero(dice.random(air.shape[1]) < 0.15):
        at, lasts, deep = dice.uniform(1.0, 10.0), dice.uniform(0.5, 2.0), dice.uniform(10, 45)
        since = (hours - at) / lasts
        air[:, column] -= deep * np.clip(np.minimum(since, (2.0 - since)), 0.0, 1.0)


def _at(cells_c: Array, place: Array) -> Array:
    """Return the temperature at a share of the way out of the centre."""
    position = place * (len(cells_c) - 1)
    low = np.floor(position).astype(int)
    part, columns = position - low, np.arange(cells_c.shape[1])
    return np.asarray(cells_c[low, columns] * (1 - part) + cells_c[low + 1, columns] * part)


def _log(dice: np.random.Generator, core: Array, air: Array, draw: Draw) -> tuple[Array, Array]:
    """Return what both probes log: offset, noise, gaps, late starts."""
    n = core.shape[1]
    read = core + dice.normal(0.0, 0.25, core.shape)
    coarse = dice.random(n) < 0.3  # whole degrees Fahrenheit
    read[:, coarse] = np.round(read[:, coarse] * 1.8) / 1.8
    for column in np.flatnonzero(dice.random(n) < 0.15):
        start = dice.integers(30, 600)
        read[start : start + dice.integers(10, 90), column] = np.nan
    for column in np.flatnonzero(dice.random(n) < 0.10):
        read[: dice.integers(60, 360), column] = np.nan
    offset = dice.normal(0.0, 2.0, n) + dice.uniform(*draw.offset_c, n)
    return read, air + offset + dice.normal(0.0, 0.6, core.shape)


def concatenate(parts: list[Cooks]) -> Cooks:
    """Return several populations as one."""

    def joined(name: str) -> Any:
        values = [getattr(part, name) for part in parts]
        if isinstance(values[0], list):
            return [item for value in values for item in value]
        return np.concatenate(values, axis=-1)

    return Cooks(*(joined(field.name) for field in fields(Cooks)))
