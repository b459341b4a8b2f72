"""Hold and cool: how long hot food stays over its limit, how soon cooled food is under its.

Newton's law about the air around it, ``T = air + (T0 - air) exp(-t / tau)``: true once the
gradient inside has died, some half hour after the food was put there. ``ln tau`` starts from
what the place usually does and is drawn to the readings as they come in.

Usual ``tau``: insulated box 9.6 h (three records: 198 to 165 F in 3 h, 194 to 174 F in 2 h,
200 to 140 F in 6 h give 9 to 11 h), wrapped on a counter 2.4 h (model with 6 W/m2K). Transport
is a box that is opened and shaken; a cabinet holds its own air. Cooling: a whole piece in a
cold room 3 h, shallow pans 1.5 h, ice bath 0.6 h. The last four: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import erf, exp, hypot, inf, log, sqrt
from typing import Literal

import numpy as np

from pitlogger.forecast.history import usable
from pitlogger.forecast.request import Series
from pitlogger.model.quantities import show_duration, show_temperature

Place = Literal["box", "cabinet", "transport", "counter", "cold-room", "shallow-pan", "ice-bath"]

# place: (tau in hours, spread of its logarithm, usual air C, spread of the air)
USUAL: dict[str, tuple[float, float, float, float]] = {
    "box": (9.6, 0.25, 22.0, 4.0),
    "transport": (8.0, 0.35, 20.0, 6.0),
    "counter": (2.4, 0.35, 22.0, 4.0),
    "cabinet": (2.0, 0.40, 68.0, 4.0),
    "cold-room": (3.0, 0.40, 3.0, 1.0),
    "shallow-pan": (1.5, 0.40, 3.0, 1.0),
    "ice-bath": (0.6, 0.40, 1.0, 1.0),
}
HOT_LIMIT_C = 57.22  # 135 F, FDA Food Code 3-501.16
STAGE_1_C, STAGE_1_S = 21.11, 2 * 3600.0  # 70 F within 2 h, FDA Food Code 3-501.14
STAGE_2_C, STAGE_2_S = 5.0, 6 * 3600.0  # 41 F within 6 h of 135 F, same
STEPS = ((STAGE_1_C, STAGE_1_S), (STAGE_2_C, STAGE_2_S))
SETTLING_S = 1800.0
WINDOW_S = 3 * 3600.0
SILENT_S = 15 * 60.0
LONGEST_S = 48 * 3600.0
Z80 = 1.2816
NO_SERIES = Series()


@dataclass(frozen=True, slots=True)
class Holding:
    """Food at a place: its coldest core since ``since_s``, and the air there if measured."""

    place: Place
    since_s: float
    now_s: float
    core: Series
    air: Series = NO_SERIES
    set_air_c: float | None = None


@dataclass(frozen=True, slots=True)
class Crossing:
    """When a falling core meets a temperature: seconds from now, ``None`` if it does not.

    ``p_reach`` is the chance that it ever gets there; ``reason`` says why there is no time.
    ``spread`` is that of the logarithm of the time.
    """

    to_c: float
    p10_s: int | None = None
    p50_s: int | None = None
    p90_s: int | None = None
    p_reach: float = 0.0
    reason: str = ""
    spread: float = 0.0
    known: bool = True  # whether there are readings to say anything from

    def chance_within(self, seconds: float) -> float:
        """Return the chance that the crossing comes within ``seconds`` from now."""
        if self.p50_s is None:
            return 0.0
        if self.p50_s == 0:
            return 1.0
        if seconds <= 0:
            return 0.0
        z = log(seconds / self.p50_s) / max(self.spread, 0.02)
        return self.p_reach * 0.5 * (1.0 + erf(z / sqrt(2.0)))


@dataclass(frozen=True, slots=True)
class CoolingForecast:
    """Both steps of cooling, each counted from the crossing of 135 F at ``from_s``.

    ``will_miss`` is true while there is still time to do something and the chance of
    meeting a step has fallen under one half.
    """

    stage_1: Crossing
    stage_2: Crossing
    p_stage_1: float
    p_stage_2: float
    will_miss: bool
    advice: str = ""


def time_to(holding: Holding, to_c: float) -> Crossing:
    """Return when the core falls to ``to_c``, with an 80 % interval."""
    t, core = usable(holding.core, holding.now_s)
    kept = t >= holding.since_s
    t, core = t[kept], core[kept]
    if not len(t):
        return Crossing(
            to_c, reason="cannot say yet, because there are no readings of the core", known=False
        )
    if holding.now_s - t[-1] > SILENT_S:
        silent = show_duration((holding.now_s - t[-1]) * 1000)
        return Crossing(
            to_c, reason=f"cannot say yet, because the core is silent for {silent}", known=False
        )
    level = float(np.median(core[-5:]))
    if level <= to_c:
        return Crossing(to_c, 0, 0, 0, 1.0)
    air_c, air_sd = _air(holding)
    ln_tau, ln_sd = _tau(holding, t, core, air_c)
    p_reach = 0.5 * (1.0 + erf((to_c - 0.2 - air_c) / max(air_sd, 0.05) / sqrt(2.0)))
    if p_reach < 0.1 or to_c <= air_c:
        about = show_temperature(air_c * 1000)
        return Crossing(to_c, p_reach=round(p_reach, 3), reason=f"the air at {about} keeps it over")
    middle = exp(ln_tau) * log((level - air_c) / (to_c - air_c)) * 3600.0
    spread = hypot(ln_sd, _air_effect(level, to_c, air_c, air_sd))
    p10, p90 = middle * exp(-Z80 * spread), middle * exp(Z80 * spread)
    p10, middle, p90 = (min(value, LONGEST_S) for value in (p10, middle, p90))
    return Crossing(to_c, round(p10), round(middle), round(p90), round(p_reach, 3), "", spread)


def hold_left(holding: Holding, limit_c: float = HOT_LIMIT_C) -> Crossing:
    """Return how long hot food stays over its limit where it is."""
    return time_to(holding, limit_c)


def cooling(
    holding: Holding, from_s: float, steps: tuple[tuple[float, float], ...] = STEPS
) -> CoolingForecast:
    """Return when both steps of cooling are met, and whether one will be missed.

    Args:
        holding: Place and readings of the warmest core.
        from_s: When the food passed the first mark on its way down.
        steps: Of the policy in force: where each step ends, degC, and by when, seconds after
            ``from_s``; infinite where its time does not run yet.
    """
    found = [time_to(holding, to_c) for to_c, _ in steps]
    left = [from_s + limit_s - holding.now_s for _, limit_s in steps]
    chances = [one.chance_within(left_s) for one, left_s in zip(found, left, strict=True)]
    missed = [
        at
        for at, one in enumerate(found)
        if one.p50_s != 0 and 0 < left[at] < inf and chances[at] < 0.5
    ]
    miss = bool(missed) and all(one.known for one in found)
    advice = ""
    if miss:
        late = found[missed[0]]
        when = "not at all" if late.p50_s is None else f"in {show_duration(late.p50_s * 1000)}"
        advice = (
            f"{show_temperature(late.to_c * 1000)} comes {when}, "
            f"{show_duration(left[missed[0]] * 1000)} are left: cut it smaller, "
            "spread it in shallow pans, use an ice bath"
        )
    return CoolingForecast(
        found[0], found[-1], round(chances[0], 3), round(chances[-1], 3), miss, advice
    )


def _air(holding: Holding) -> tuple[float, float]:
    """Return the air about the food and its spread: measured, set, or usual for the place."""
    _, _, usual, spread = USUAL[holding.place]
    t, air = usable(holding.air, holding.now_s)
    recent = air[t >= holding.now_s - 3600.0]
    if len(recent):
        return float(np.median(recent)), 1.0
    if holding.set_air_c is not None:
        return holding.set_air_c, 2.0
    return usual, spread


def _tau(holding: Holding, t: np.ndarray, core: np.ndarray, air_c: float) -> tuple[float, float]:
    """Return the mean and spread of ln tau in hours: the usual one drawn to the readings."""
    usual, usual_sd, _, _ = USUAL[holding.place]
    begun = max(holding.since_s + SETTLING_S, holding.now_s - WINDOW_S)
    kept = (t >= begun) & (core > air_c + 1.0)
    hours, excess = (t[kept] - holding.now_s) / 3600.0, np.log(core[kept] - air_c)
    if len(hours) < 4 or hours[-1] - hours[0] < 0.25:
        return log(usual), usual_sd
    x = hours - hours.mean()
    slope = float(x @ excess / (x @ x))
    if slope >= -1e-4:
        return log(usual) + 2.0 * usual_sd, usual_sd
    left = excess - excess.mean() - slope * x
    # Errors of a probe hang together over ten minutes or so: count that many points only.
    free = max(min(len(hours), (hours[-1] - hours[0]) * 6.0), 3.0)
    noise = max(float(left.std()), 0.25 / float(core[kept].mean() - air_c))
    error = noise / float(x.std()) / sqrt(free)
    found, found_sd = log(-1.0 / slope), hypot(min(error / -slope, 3.0), 0.10)
    weight = usual_sd**2 / (usual_sd**2 + found_sd**2)
    mean = (1.0 - weight) * log(usual) + weight * found
    return mean, sqrt(weight) * found_sd


def _air_effect(level_c: float, to_c: float, air_c: float, air_sd: float) -> float:
    """Return how much the spread of the air moves the logarithm of the time."""
    ratio = log((level_c - air_c) / (to_c - air_c))
    slope = (1.0 / (to_c - air_c) - 1.0 / (level_c - air_c)) / ratio
    return min(abs(slope) * air_sd, 1.5)
