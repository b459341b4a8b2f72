"""Cooks to learn from and to be judged by: plants, probe, pit and people drawn wide.

Each draw differs in plant, size, shape, meat, pit, weather of the fire, wrap and its moment,
place of the probe and quality of the log. Ranges are those of published fits and of
pieces as sold; where a range is assumed it is wide on purpose, since real cooks are a
larger shift than one simulated population is from another. Every cook runs faster or slower than
its plant by a factor of its own, with the slow tail that measured cooks have.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.shape import FAMILY
from tools.forecast_library.plants import PLANTS, Pieces

Array = npt.NDArray[np.float64]

DT_S = 60.0
HOURS = 26.0
KNOTS_C = np.arange(4.0, 101.0, 8.0)  # core temperatures at which a bent pace is drawn
BENT_FAR_C = 8.0  # paces of cores so far apart hang together by 0.6
COOL_C = (94.0, 104.0)
# family: the cut that stands for it, and its share of the population
FAMILIES = {
    "brisket": ("brisket-packer", 0.48), "pork-shoulder": ("pork-butt", 0.26),
    "beef-roast": ("beef-chuck", 0.06), "lamb": ("lamb-shoulder", 0.04),
    "turkey": ("turkey-breast", 0.03), "chicken": ("chicken-whole", 0.03),
    "pork-belly": ("pork-belly", 0.03), "beef-ribs": ("beef-ribs", 0.04),
    "pork-ribs": ("pork-st-louis", 0.03),
}  # fmt: skip
# wrap: share; lowest and highest factor on vapour (of a fully wet surface), on radiation and
# on convection. About the refitted plant's own; boat and pan assumed.
WRAPS = {
    "none": (0.28, (1.0, 1.0), (1.0, 1.0), (1.0, 1.0)),
    "paper": (0.28, (0.04, 0.3), (0.85, 1.0), (0.85, 1.0)),
    "foil": (0.30, (0.0015, 0.012), (0.42, 0.8), (0.55, 0.9)),
    "boat": (0.07, (0.06, 0.3), (0.6, 0.9), (0.7, 0.95)),
    "pan": (0.07, (0.001, 0.02), (0.4, 0.75), (0.5, 0.9)),
}  # fmt: skip
# Factors on the meat's parameters, lowest and highest, drawn evenly in logs: far wider than
# the plant draws them, so that stalls of every kind are in. Each plant takes those it has.
FACTORS = {
    "wet_share": (0.7, 1.35), "to_surface": (0.7, 1.35), "film_max": (0.5, 2.0),
    "expulsion_per_s_60c": (0.5, 2.0), "holding_centre_c": (0.96, 1.04),
    "holding_slope_per_c": (0.6, 1.1), "bark_h": (0.68, 1.45), "bark_power": (0.1, 1.8),
    "bark_resistance": (0.5, 1.9), "bark_growth": (0.85, 1.35), "renderable": (0.7, 1.3),
    "fat_factor": (0.6, 1.5),
    "conductivity_factor": (0.9, 1.1),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Cooks:
    """A population of ``n`` cooks, one row a minute.

    Attributes:
        core_c: What the probe would show without noise, shape (minutes, n).
        read_c: What it shows; ``nan`` where the log has a gap or had not begun.
        pit_c: What the pit probe shows, shape (minutes, n).
        family, wrap, plant: Names, one a cook. wrapped_min: minute of wrapping, -1 for never.
        wrap_at_c: Planned core temperature of wrapping.
        mass_g, thickness_mm: As a person would say them.
        set_point_c: Set point over time, shape (minutes, n).
    """

    core_c: Array
    read_c: Array
    pit_c: Array
    family: list[str]
    wrap: list[str]
    plant: list[str]
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
        slower: Mean and spread of the logarithm of each cook's own factor on time.
        cool: Share of pits at ``COOL_C``, where a core may never arrive.
        alike: So many cooks in a row are one kitchen's: its pit, its probe, its way of wrapping
            and half of what makes its cooks slow.
        bent: Widest spread of the logarithm of the pace over the core's temperature. A cook draws
            its own, up to this: some linger or hurry where no plant does.
    """

    factors: Mapping[str, tuple[float, float]]
    wall_below_c: tuple[float, float] = (3.0, 14.0)
    h_c: tuple[float, float] = (7.0, 11.0)
    thicker: float = 1.0
    windier: float = 1.0
    offset_c: tuple[float, float] = (-2.0, 3.0)
    slower: tuple[float, float] = (0.03, 0.14)
    cool: float = 0.02
    alike: int = 1
    bent: float = 0.0

    def first(self, n: int) -> npt.NDArray[np.intp]:
        """Return for each of n cooks the first one of its kitchen."""
        return np.arange(n) // self.alike * self.alike


USUAL = Draw(FACTORS)
STRANGE = Draw(FACTORS, bent=0.5)


def simulate(
    seed: int, n: int, plant: str = "shrinking-cells", draw: Draw = USUAL, *, hours: float = HOURS
) -> Cooks:
    """Return ``n`` cooks of a plant (see ``PLANTS``); the same seed gives the same cooks."""
    dice = np.random.default_rng(seed)
    family = _chosen(dice, {name: share for name, (_, share) in FAMILIES.items()}, n)
    wraps = _chosen(dice, {name: share for name, (share, *_) in WRAPS.items()}, n)
    wrap = [wraps[first] for first in draw.first(n)]
    mass_kg, half_mm, compact = _sizes(dice, family, draw)
    steps = int(hours * 3600 / DT_S)
    set_point, air = _pit(dice, n, steps, draw)
    wrap_at = np.where(dice.random(n) < 0.8, dice.uniform(60.0, 77.0, n), 200.0)
    wrap_at_h = np.where(wrap_at > 100.0, dice.uniform(2.0, 7.5, n), 99.0)
    pieces = _pieces(dice, family, wrap, (mass_kg, half_mm, compact), draw)
    place = np.where(dice.random(n) < 0.25, dice.uniform(0.15, 0.5, n), dice.uniform(0.0, 0.15, n))
    slower = np.exp(np.clip(_slower(dice, n, draw), -0.3, 0.6))
    bare = np.array([w == "none" for w in wrap])
    at_c = np.where(bare, 999.0, wrap_at + dice.normal(0.0, 1.5, n))
    at_h = np.where(bare, 999.0, wrap_at_h)
    pace = np.log(slower) + _bent(np.random.default_rng([seed, 1]), n, draw)
    core, wrapped_min = _cook(plant, pieces, air, place, pace, at_c, at_h)
    read, pit = _log(dice, core, air, draw)
    said_at = np.where(wrap_at > 100.0, np.nan, wrap_at)
    cooks = Cooks(
        core, read, pit, family, wrap, [plant] * n, wrapped_min, said_at, mass_kg * 1000.0,
        2.0 * half_mm * np.exp(dice.normal(0.0, 0.08, n)), set_point,
    )  # fmt: skip
    return _sound(cooks)


def _slower(dice: np.random.Generator, n: int, draw: Draw) -> Array:
    """Return the logarithm of each cook's factor on time."""
    mean, spread = draw.slower
    own = dice.normal(mean, spread, n)
    if draw.alike == 1:
        return own
    shared = dice.normal(0.0, spread, n)[draw.first(n)]
    return np.asarray(mean + np.sqrt(0.5) * (own - mean + shared))


def _bent(dice: np.random.Generator, n: int, draw: Draw) -> Array:
    """Return what bends the log of each cook's pace at ``KNOTS_C``, shape (knots, n)."""
    far = (KNOTS_C[:, None] - KNOTS_C) / BENT_FAR_C
    alike = np.linalg.cholesky(np.exp(-0.5 * far**2) + 1e-6 * np.eye(len(KNOTS_C)))
    spread = draw.bent * dice.random(n)
    return np.asarray(spread * (alike @ dice.standard_normal((len(KNOTS_C), n))))


def _cook(
    plant: str, pieces: Pieces, air: Array, place: Array, pace: Array, at_c: Array, at_h: Array
) -> tuple[Array, npt.NDArray[np.int64]]:
    """Return the core each minute, (minutes, n), and the minute of wrapping.

    The plant runs on a time of its own: one of its minutes takes ``exp(pace)`` of the pit's, by
    where the core is among ``KNOTS_C``, shape (knots, n).
    """
    steps, n = air.shape
    columns, own, at = np.arange(n), np.empty((steps, n)), np.empty((steps, n))
    body = PLANTS[plant](pieces)
    on, wrapped_min, now_min = np.zeros(n, dtype=bool), np.full(n, -1), np.zeros(n)
    with np.errstate(over="ignore", invalid="ignore"):
        for k in range(steps):
            minute = np.minimum(now_min.astype(np.int64), steps - 1)
            own[k], at[k], centre = body.core_c(place), now_min, body.core_c(np.zeros(n))
            now = ~on & ((centre >= at_c) | (minute / 60.0 >= at_h))
            wrapped_min[now] = minute[now]
            on |= now
            body.step(DT_S, air[minute, columns], on)
            now_min = now_min + np.exp(_at_knots(pace, centre))
    wrapped_min[wrapped_min >= steps - 1] = -1
    minutes = np.arange(steps)
    shown = [np.interp(minutes, at[:, column], own[:, column]) for column in columns]
    return np.stack(shown, axis=1), wrapped_min


def _at_knots(values: Array, core_c: Array) -> Array:
    """Return values at ``KNOTS_C``, shape (knots, n), as they are at each core."""
    place = np.nan_to_num((core_c - KNOTS_C[0]) / (KNOTS_C[1] - KNOTS_C[0]))
    place = np.clip(place, 0.0, len(KNOTS_C) - 1.001)
    low, columns = place.astype(np.int64), np.arange(len(core_c))
    part = place - low
    return np.asarray(values[low, columns] * (1.0 - part) + values[low + 1, columns] * part)


def _sound(cooks: Cooks) -> Cooks:
    """Return the cooks without those (one in thousands) whose outer cell dried to nothing."""
    with np.errstate(invalid="ignore"):
        return select(cooks, np.flatnonzero((np.abs(cooks.core_c) < 200.0).all(axis=0)))


def select(cooks: Cooks, columns: Sequence[int] | npt.NDArray[np.intp]) -> Cooks:
    """Return some of the cooks."""

    def chosen(name: str) -> Any:
        value = getattr(cooks, name)
        return [value[i] for i in columns] if isinstance(value, list) else value[..., columns]

    return Cooks(*(chosen(field.name) for field in fields(Cooks)))


def _pieces(
    dice: np.random.Generator, family: list[str], wrap: list[str],
    sizes: tuple[Array, Array, Array], draw: Draw,
) -> Pieces:  # fmt: skip
    n, (mass_kg, half_mm, compact) = len(family), sizes

    def between(low: float, high: float) -> Array:
        return np.exp(dice.uniform(np.log(low), np.log(high), n))

    first = draw.first(n)
    layer = [np.array([WRAPS[w][k] for w in wrap]) for k in (1, 2, 3)]
    vapour, radiation, still = (
        np.exp(np.log(ends[:, 0]) + dice.random(n)[first] * np.log(ends[:, 1] / ends[:, 0]))
        for ends in layer
    )
    return Pieces(
        cut=[FAMILIES[name][0] for name in family],
        mass_kg=mass_kg,
        half_m=half_mm / 1000.0,
        area_m2=between(0.74, 1.08) * (compact + 1.0) * mass_kg / 1030.0 / (half_mm / 1000.0),
        compact=compact,
        start_c=np.clip(dice.normal(6.0, 4.0, n), 0.0, 22.0),
        convection=between(*draw.h_c)[first],
        wall_below_c=dice.uniform(*draw.wall_below_c, n)[first],
        humidity=between(0.015, 0.12)[first],
        vapour=vapour,
        radiation=radiation,
        still=still,
        factors={name: between(*ends) for name, ends in draw.factors.items()},
    )


def _chosen(dice: np.random.Generator, shares: dict[str, float], n: int) -> list[str]:
    return [str(name) for name in dice.choice(list(shares), size=n, p=list(shares.values()))]


def _sizes(dice: np.random.Generator, family: list[str], draw: Draw) -> tuple[Array, Array, Array]:
    usual = np.array([FAMILY[name] for name in family])
    n = len(family)
    mass = usual[:, 1] * np.exp(dice.normal(0.14, 0.33, n))
    half = usual[:, 0] * (mass / usual[:, 1]) ** 0.28 * np.exp(dice.normal(0.06, 0.15, n))
    half = half * draw.thicker
    return mass, half, np.clip(usual[:, 2] + dice.normal(0.0, 0.15, n), 0.05, 1.9)


def _pit(dice: np.random.Generator, n: int, steps: int, draw: Draw) -> tuple[Array, Array]:
    """Return set point and air at the meat, both (steps, n)."""
    start = np.clip(dice.normal(116.0, 8.5, n), 102.0, 145.0)
    start = np.where(dice.random(n) < draw.cool, dice.uniform(*COOL_C, n), start)
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
    offset = np.asarray(dice.normal(0.0, 2.0, n) + dice.uniform(*draw.offset_c, n))
    return read, air + offset[draw.first(n)] + dice.normal(0.0, 0.6, core.shape)


def concatenate(parts: list[Cooks]) -> Cooks:
    """Return several populations as one."""

    def joined(name: str) -> Any:
        values = [getattr(part, name) for part in parts]
        if isinstance(values[0], list):
            return [item for value in values for item in value]
        return np.concatenate(values, axis=-1)

    return Cooks(*(joined(field.name) for field in fields(Cooks)))
