"""How a core behaves in each stage: the probability density of its slope, in degC per hour.

A piece just put on the pit still looks raw until heat reaches its core, and one just taken off
still looks as if it were on the pit until its core turns. Both are states of their own,
``LOADED`` and ``LIFTED``, and last longer the thicker the piece is. On the pit a core follows
the pit with a time constant of hours, except in the stall; off the pit it falls towards room
temperature, in a closed box half as fast. The spreads are wide because thickness, air speed and
wrap are unknown. The figures are our own estimates from Newton's law of cooling (time constants
of 3 to 8 h for pieces of 50 to 100 mm), not from the simulator; no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from pitlogger.model.cooks import Stage

LOADED = "loaded"
LIFTED = "lifted"
ROOM_C = 22.0
USUAL_PIT_C = 115.0
COOL_ROOM_C, COLD_C = 12.0, 2.0  # no room where meat rests is colder; a cold store, ice water
CHILLED_C = 5.0  # 41 F: FDA Food Code 3-501.14
HELD_MOST_C = 80.0  # no holding cabinet is hotter
MEMORY = 0.35  # neighbouring slopes share readings: a step counts for so much
FLOOR = 0.0008  # density of anything at all
_ROOT = math.sqrt(2.0 * math.pi)


@dataclass(slots=True)
class Look:
    """What was measured of a piece in one step of two minutes.

    Attributes:
        core_c: Core temperature, ``None`` if no probe is in the meat.
        slope: Slope of the core over the last minutes, degC per hour.
        pit_c: Pit temperature, ``None`` if it is not known.
        out: Whether its probe is out of the meat.
        pace: Fall per hour during the rest, as a share of the distance to room temperature.
    """

    t_ms: int
    core_c: float | None = None
    slope: float | None = None
    pit_c: float | None = None
    out: bool = False
    pace: float | None = None


def log_likelihood(stage: str, look: Look) -> float:
    """Return the log-likelihood of an observation, given the stage."""
    if look.out:
        return _OUT.get(stage, 0.0)
    core, slope = look.core_c, look.slope
    if core is None or slope is None:
        return 0.0
    off = _OFF.get(stage)
    if off is not None:
        return MEMORY * math.log(FLOOR + off(look, core, slope))
    pit = USUAL_PIT_C if look.pit_c is None else look.pit_c
    return MEMORY * math.log(FLOOR + _HEATED[stage](core, slope, pit))


# A probe lies beside the piece before and after, seldom while it is on the pit.
_OUT = {LOADED: -0.6, Stage.SMOKING: -0.6, Stage.WRAPPED: -0.6}


def _normal(x: float, mean: float, sd: float) -> float:
    z = (x - mean) / sd
    return math.exp(-0.5 * z * z) / (sd * _ROOT)


def _log_normal(x: float, median: float, log_sd: float) -> float:
    if x <= 0.05 or median <= 0.05:
        return 0.0
    z = math.log(x / median) / log_sd
    return math.exp(-0.5 * z * z) / (x * log_sd * _ROOT)


def _raw(core: float, slope: float, pit: float) -> float:
    if core > 40.0:
        return 0.0
    return 0.85 * _normal(slope, 0.0, 1.5) + 0.15 * _normal(slope, 3.0, 3.0)


def _driven(core: float, slope: float, pit: float) -> float:
    """Return the density of a slope while the core rises towards the pit."""
    return _log_normal(slope, max(pit - core, 4.0) / 4.5, 0.75)


def _levelled(core: float, pit: float) -> float:
    """Return the probability, 0 to 0.9, that a core is level because the pit is hardly hotter."""
    return min(0.9, max(0.0, 1.0 - (pit - core - 12.0) / 30.0))


def _unheated(core: float, slope: float, pit: float) -> float:
    """Return the density of a slope in a pit hardly hotter than the core, or one that went out.

    It turns and falls there as it does off the pit.
    """
    if pit > core - 5.0:
        return 0.5 * _normal(slope, 0.0, 8.0) + 0.5 * _normal(slope, -0.5, 2.5)
    return 0.5 * _normal(slope, -0.5, 2.5) + 0.5 * _log_normal(-slope, (core - ROOM_C) / 6.0, 0.9)


def _smoking(core: float, slope: float, pit: float) -> float:
    if pit < core + 12.0:
        return _unheated(core, slope, pit)
    if core > 50.0:
        level = max(0.5, _levelled(core, pit))
        still = 0.8 * _normal(slope, 2.0, 2.5) + 0.2 * _normal(slope, -1.0, 2.5)  # wet and windy
        return level * still + (1.0 - level) * _driven(core, slope, pit)
    return 0.1 * _normal(slope, 3.0, 3.0) + 0.9 * _driven(core, slope, pit)


def _wrapped(core: float, slope: float, pit: float) -> float:
    if pit < core + 12.0:
        return _unheated(core, slope, pit)
    level = max(0.4, _levelled(core, pit))
    return level * _normal(slope, 1.5, 2.5) + (1.0 - level) * _driven(core, slope, pit)


def _lifted(core: float, slope: float, pit: float) -> float:
    return 0.6 * _wrapped(core, slope, pit) + 0.4 * _normal(slope, -0.5, 2.5)


def _falling(look: Look, core: float, slope: float, share: float, usual_h: float) -> float:
    """Return the density of a fall at ``share`` of the pace at which the piece fell before."""
    if look.pace is None:
        return _log_normal(-slope, (core - ROOM_C) / usual_h, 0.9)
    return _log_normal(-slope, share * look.pace * (core - ROOM_C), 0.45)


def _resting(look: Look, core: float, slope: float) -> float:
    if core < ROOM_C + 3.0:
        return 0.3 * _normal(slope, 0.0, 1.0) if core > COOL_ROOM_C else 0.0
    falling = _falling(look, core, slope, 1.0, 5.0)
    return 0.85 * falling + 0.15 * _normal(slope, -1.5, 2.0)


def _holding(look: Look, core: float, slope: float) -> float:
    if core < ROOM_C + 3.0:
        return 0.0
    falling = _falling(look, core, slope, 0.4, 11.0)
    level = 0.02 if core > HELD_MOST_C else 0.2 if look.pace is None else 0.5
    warming = _log_normal(slope, (HELD_MOST_C - core) / 4.0, 0.8)  # in a hot cabinet
    return (1.0 - level) * falling + level * (0.7 * _normal(slope, 0.0, 1.2) + 0.3 * warming)


def _cooling(look: Look, core: float, slope: float) -> float:
    """Return the density of a slope in cold air or ice water."""
    towards = core - COLD_C
    if towards < 4.0:
        return _normal(slope, -0.5, 1.0)
    if core < COOL_ROOM_C:
        return _log_normal(-slope, towards / 3.0, 1.0)
    if look.pace is None:
        return 0.5 * _resting(look, core, slope)
    return _log_normal(-slope, 3.0 * look.pace * (core - COOL_ROOM_C), 0.4)  # much faster now


def _chilled(look: Look, core: float, slope: float) -> float:
    return _normal(slope, 0.0, 1.0) if core < CHILLED_C + 3.0 else 0.0


def _reheating(look: Look, core: float, slope: float) -> float:
    return _log_normal(slope, max(USUAL_PIT_C - core, 4.0) / 3.0, 1.0)


def _carved(look: Look, core: float, slope: float) -> float:
    return 0.01


_HEATED: dict[str, Callable[[float, float, float], float]] = {
    Stage.RAW: _raw,
    LOADED: _raw,
    Stage.SMOKING: _smoking,
    Stage.WRAPPED: _wrapped,
    LIFTED: _lifted,
}
_OFF: dict[str, Callable[[Look, float, float], float]] = {
    Stage.RESTING: _resting,
    Stage.HOLDING: _holding,
    Stage.CARVED: _carved,
    Stage.COOLING: _cooling,
    Stage.CHILLED: _chilled,
    Stage.REHEATING: _reheating,
}
