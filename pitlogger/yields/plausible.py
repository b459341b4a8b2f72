"""What is hardly possible: weights, temperatures and times that are asked about at once.

What is found here teaches nothing until a person confirmed it. The bounds are wide: an odd
piece of meat lies within them, a slip of the keyboard outside. ``doubts.py`` asks softly about
much that lies within.

Sources: masses as bought in ``cuts.toml``. Servable shares of purchase of 36 to 84 % in all
tables read (also there). Water boils at 100 C at sea level, so that no moist core is
hotter. All other bounds: common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pitlogger.model.quantities import MG_PER
from pitlogger.model.readings import Site
from pitlogger.yields.causes import CHAIN, PLACE
from pitlogger.yields.cuts import figures

_GAINS = frozenset({"brined", "seasoned", "sauced"})
_RISE, _RISE_G = 1.02, 50.0  # a scale's and a hand's slack
LEAST_SHARE = 0.15
_LEAST_ON_PIT_MIN = {"sausage": 15.0, "chicken": 20.0, "beef-roast": 25.0}
_LEAST_MIN = 45.0
_MOST_ON_PIT_H = {"sausage": 14.0, "chicken": 14.0, "beef-roast": 14.0}
_MOST_H = 36.0
# A point misplaced, one unit written for another; and how far-fetched that is.
_POINT = ((10.0, 0.0), (100.0, 0.6), (1000.0, 0.9))
_UNITS = {("lb", "kg"): 0.3, ("lb", "oz"): 0.6, ("oz", "g"): 0.9, ("kg", "g"): 0.9}
_AS_LIKELY, _APART = 0.8, 0.1
CORE_MC, COLDEST_MC = 110_000, -40_000
PLACE_MC = 600_000
# Boxes and wells that hold food hot, cold stores and rooms (common practice, no source).
MOST_MC = {Site.HOLD: 150_000, Site.TRANSPORT: 150_000, Site.LINE: 150_000,
           Site.COLD: 60_000, Site.ROOM: 60_000, Site.BENCH: 60_000}  # fmt: skip
HOTTEST_PROBE_MC = 1_372_000  # where the tables of type K end (IEC 60584-1)
LEAST_EATEN_G, MOST_EATEN_G = 15.0, 1_500.0


@dataclass(frozen=True, slots=True)
class Implausible:
    """Something hardly possible about a mass: why, against which mass, what was meant perhaps.

    ``why`` is ``nothing``, ``too-much``, ``too-little``, ``more-than-before`` or ``small-share``;
    ``against`` the checkpoint compared with, empty for the cut itself; ``than_g`` its mass.
    """

    checkpoint: str
    why: str
    mass_g: float
    than_g: float
    against: str = ""
    likely_g: float | None = None
    or_g: float | None = None  # what else was meant perhaps


def bought_g(cut: str, count: int) -> float:
    """Return what a piece, or a batch, usually weighs as bought, grams."""
    return 1000.0 * figures()[cut].bought_kg[1] * count


def implausible_masses(
    cut: str, count: int, masses_g: Mapping[str, float], unit: str = ""
) -> Iterator[Implausible]:
    """Yield what is hardly possible about the net masses of one piece, by checkpoint, grams.

    ``unit`` is the one they were written in (kg, g, lb, oz), empty where nobody knows: then what
    was meant instead may be any slip's.
    """
    for checkpoint in (name for name in CHAIN if name in masses_g):
        before = [name for name in CHAIN[: PLACE[checkpoint]] if name in masses_g]
        found = _implausible(cut, count, masses_g, checkpoint, before, unit)
        if found is not None:
            yield found


def _implausible(
    cut: str, count: int, masses_g: Mapping[str, float], at: str, before: list[str],
    unit: str,
) -> Implausible | None:  # fmt: skip
    least_g, usual_g, most_g = (1000.0 * kg * count for kg in figures()[cut].bought_kg)
    mass_g = masses_g[at]
    last = before[-1] if before else ""
    # What it should be near, and how far from that it may lie.
    near_g, low_g, high_g = usual_g, least_g, most_g
    if last:
        near_g = masses_g[last]
        low_g, high_g = 0.25 * near_g, min(most_g, _RISE * near_g)
    likely_g, or_g = _likely(mass_g, near_g, low_g, high_g, unit)

    def found(why: str, than_g: float, against: str = "") -> Implausible:
        return Implausible(at, why, mass_g, than_g, against, likely_g, or_g)

    if mass_g <= 0:
        return found("nothing", 0.0)
    if mass_g > most_g:
        return found("too-much", usual_g)
    if not last:
        return found("too-little", usual_g) if mass_g < least_g else None
    if at not in _GAINS and last != "label" and mass_g > _RISE * near_g + _RISE_G:
        return found("more-than-before", near_g, last)
    bought = next((name for name in ("purchased", "label") if name in before), last)
    if mass_g < LEAST_SHARE * masses_g[bought]:
        return found("small-share", masses_g[bought], bought)
    return None


def _likely(
    mass_g: float, near_g: float, low_g: float, high_g: float, unit: str
) -> tuple[float | None, float | None]:
    """Return the masses that a slip of the point or the unit would explain best, if any does."""
    meant = sorted(
            (far + abs(math.log(made / near_g)), made)
             for slip, far in _slips(unit)
             if low_g <= (made := mass_g * slip) <= high_g)  # fmt: skip
    if not meant:
        return None, None
    (least, best), *rest = meant
    others = (made for far, made in rest if far < least + _AS_LIKELY)
    return best, next((made for made in others if abs(made / best - 1) > _APART), None)


def _slips(unit: str) -> Iterator[tuple[float, float]]:
    """Yield by what a mass is to be multiplied to be what was meant, and how far-fetched it is."""
    for slip, far in _POINT:
        yield slip, far
        yield 1 / slip, far
    for (one, other), far in _UNITS.items():
        times = float(MG_PER[one] / MG_PER[other])
        if unit in ("", one):
            yield 1 / times, far
        if unit in ("", other):
            yield times, far


def on_pit_ms(family: str) -> tuple[int, int]:
    """Return the shortest and the longest time on the pit that is believed of a family of cuts."""
    least_min = _LEAST_ON_PIT_MIN.get(family, _LEAST_MIN)
    return round(least_min * 60_000), round(_MOST_ON_PIT_H.get(family, _MOST_H) * 3_600_000)


def likely_core_mc(value_mc: int) -> int | None:
    """Return what a core reading that cannot be was perhaps meant to be, milli-degC."""
    value_f = value_mc * 1.8 / 1000 + 32.0
    for meant_f in (value_f / 10.0, value_f / 100.0, value_mc / 1000.0):
        meant_mc = round((meant_f - 32.0) / 1.8 * 1000)
        if 30_000 <= meant_mc <= CORE_MC - 5_000:
            return meant_mc
    return None
