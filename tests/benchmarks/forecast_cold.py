"""Cooling that will miss, meat that will not do: how early they are told, how often in vain.

Cooling: hot pieces are cooled in each of the three plants, none of which the cooling forecast
knows, in a refrigerator or in ice, thin or far too thick. Meat: the simulated smoker's own losses,
which the yields never learned from, with trimming and carving drawn beside them.
"""

from __future__ import annotations

from math import inf

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.hold import STEPS, Holding, cooling
from pitlogger.forecast.request import Series
from pitlogger.yields.purchase.demand import Party, demand
from pitlogger.yields.purchase.running_short import running_short
from pitlogger.yields.records import PastPiece
from pitlogger.yields.weighing.uncertainty import Measured
from pitlogger_simulators.plant.cuts import PieceSpec
from pitlogger_simulators.plant.pits import Pit
from tests.simulators.cook_events import PlantEvent
from tests.simulators.whole_cooks import simulate_batch
from tools.forecast_library.plants import PLANTS, Pieces
from tools.forecast_library.population import FACTORS

Array = npt.NDArray[np.float64]
Seen = list[tuple[str, bool, float | None]]

FROM_C, HOURS, LOOK_MIN, DELAY_MIN = 57.22, 8, 2, 2
NOISE_C = 0.25
PORTION_G, LEAST_CHANCE = 113.4, 0.8
# Share of the purchased mass left by trimming, and of the rested mass by carving (common practice,
# no source).
TRIMMED, CARVED = (0.78, 0.05), (0.96, 0.02)
PIECES = 3


def cooling_told(plant: str, n: int, seed: int = 5) -> Seen:
    """Return for n pieces of a plant: prompt, whether a step was missed, hours told ahead."""
    dice = np.random.default_rng(seed)
    core, air_c = _cooled(plant, n, dice)
    read = core + dice.normal(0.0, NOISE_C, core.shape)
    return [
        _followed(core[:, i], read[:, i], float(air_c[i]), bool(dice.random() < 0.5))
        for i in range(n)
    ]


def meat_told(cooks: int, seed: int = 6) -> Seen:
    """Return for cooks of three packers: prompt, whether the meat did not do, hours told ahead.

    Weighed at the wrap and off the pit; hours count to the pull.
    """
    dice = np.random.default_rng(seed)
    n = cooks * PIECES
    trimmed_g = 1000.0 * dice.uniform(3.5, 6.0, n)
    at_wrap, off_pit, between_h = _losses(n, seed)
    served_g = trimmed_g * off_pit * dice.normal(*CARVED, n)
    share = np.clip(dice.normal(*TRIMMED, n), 0.6, 0.92)
    found: Seen = []
    for cook in range(cooks):
        own = slice(cook * PIECES, (cook + 1) * PIECES)
        got_g = float(served_g[own].sum())
        guests = round(got_g / PORTION_G * dice.uniform(0.75, 1.25))
        wanted = demand((Party(guests, PORTION_G),))
        told: float | None = None
        ahead_h = float(np.median(between_h[own]))
        for checkpoint, left, hours in (
            ("at-wrap", at_wrap, ahead_h), ("off-pit", off_pit, 0.0)
        ):  # fmt: skip
            pieces = [
                PastPiece(
                    f"p{i}", "brisket-packer",
                    masses={
                        "purchased": Measured(trimmed_g[i] / share[i], {"scale": 5.0}),
                        "trimmed": Measured(trimmed_g[i], {"scale": 5.0}),
                        checkpoint: Measured(trimmed_g[i] * left[i], {"scale": 5.0}),
                    },
                )
                for i in range(own.start, own.stop)
            ]  # fmt: skip
            judged = running_short(pieces, wanted, risk=1.0 - LEAST_CHANCE)
            if told is None and judged.p_enough < LEAST_CHANCE:
                told = hours
        found.append(("short-of-meat", got_g < guests * PORTION_G, told))
    return found


def _cooled(plant: str, n: int, dice: np.random.Generator) -> tuple[Array, Array]:
    """Return cores every minute, (minutes, n), and the air about them."""
    half_m = np.exp(dice.uniform(np.log(0.012), np.log(0.05), n))
    mass_kg = np.exp(dice.uniform(np.log(0.5), np.log(3.0), n))
    ice = dice.random(n) < 0.3
    air_c = np.where(ice, 1.0, dice.uniform(1.5, 4.0, n))
    one = np.ones(n)
    pieces = Pieces(
        cut=["brisket-flat"] * n, mass_kg=mass_kg, half_m=half_m,
        area_m2=mass_kg / 1030.0 / half_m, compact=0.1 * one,
        start_c=dice.uniform(60.0, 75.0, n),
        convection=np.where(ice, 120.0, dice.uniform(6.0, 25.0, n)), wall_below_c=0.0 * one,
        humidity=0.004 * one, vapour=0.003 * one, radiation=one, still=one,
        factors={name: one.copy() for name in FACTORS},
    )  # fmt: skip
    body, covered = PLANTS[plant](pieces), np.ones(n, dtype=bool)
    core = np.empty((60 * HOURS, n))
    for minute in range(len(core)):
        core[minute] = body.core_c(np.zeros(n))
        for _ in range(3):
            body.step(20.0, air_c, covered)
    return core, air_c


def _followed(
    core_c: Array, read_c: Array, air_c: float, is_air_known: bool
) -> tuple[str, bool, float | None]:
    began = int(np.argmax(core_c < FROM_C))
    met = [_passed(core_c, to_c) - began <= limit_s / 60.0 for to_c, limit_s in STEPS]
    last_min = began + next(
        (s / 60.0 for ok, (_, s) in zip(met, STEPS, strict=True) if not ok), inf
    )
    holds = 0
    for minute in range(began, min(int(min(last_min, 60 * HOURS)), 60 * HOURS), LOOK_MIN):
        first = max(0, minute - 240)
        t = tuple(60.0 * np.arange(first, minute + 1))
        air = Series(t, (air_c,) * len(t)) if is_air_known else Series()
        asked = Holding(
            "shallow-pan", 0.0, 60.0 * minute, Series(t, tuple(read_c[first : minute + 1])), air
        )
        holds = holds + LOOK_MIN if cooling(asked, 60.0 * began).will_miss else 0
        if holds > DELAY_MIN:
            ahead_h = (last_min - minute) / 60.0 if last_min < inf else 0.0
            return "cooling-will-miss", not all(met), ahead_h
    return "cooling-will-miss", not all(met), None


def _passed(core_c: Array, to_c: float) -> float:
    below = core_c <= to_c
    return float(below.argmax()) if below.any() else inf


def _losses(n: int, seed: int) -> tuple[Array, Array, Array]:
    """Return shares of the trimmed mass left at the wrap and at 203 F, and hours between."""
    pit = Pit("still", np.linspace(107.2, 121.1, n))
    run = simulate_batch(
        PieceSpec("brisket-packer", 4700.0), n,
        schedule=(PlantEvent("wrap", "paper", core_c=73.9),),
        pit=pit, duration_s=26 * 3600, dt_s=60.0, seed=seed, record_s=600.0,
    )  # fmt: skip
    wrap_s, done_s = (np.asarray(run.time_to_s(c)) for c in (73.9, 95.0))
    wrapped, done = (1.0 - run.loss_at_s(at_s) for at_s in (wrap_s, done_s))
    there = np.isfinite(done_s)
    left, gone, hours = (
        np.where(there, values, np.median(values[there]))
        for values in (wrapped, done, (done_s - wrap_s) / 3600.0)
    )
    return left, gone, hours
