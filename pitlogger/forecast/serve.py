"""Will there be food on the table: chance by service, for each piece and for the meal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, sqrt
from statistics import NormalDist
from typing import Literal

from pitlogger.forecast.hold import USUAL
from pitlogger.forecast.request import Answer
from pitlogger.model.cooks import Service
from pitlogger.model.quantities import show_chance, show_duration

ADVISE_UNDER = 0.8
EARLY_S = 2 * 3600.0
HOLD_TO_C = 60.0  # 140 F: leaves room above the 135 F limit
SHARED = 0.5  # correlation of pieces in one pit (assumed): one fire, one weather
_UNIT = NormalDist()
_Z90 = _UNIT.inv_cdf(0.9)
_CERTAIN = 1.0 - 1e-9
_NODES = (-2.857, -1.356, 0.0, 1.356, 2.857)  # Gauss-Hermite, five points, for a unit normal
_WEIGHTS = (0.011257, 0.222076, 0.533333, 0.222076, 0.011257)


@dataclass(frozen=True, slots=True)
class ServedPiece:
    """A piece's forecast to the pull, and how long it rests after it."""

    answer: Answer
    rest_s: float = 0.0
    pull_at_c: float = 95.0


@dataclass(frozen=True, slots=True)
class Readiness:
    """Chance of being ready for one service.

    Attributes:
        service: The service.
        by_s: When food must be off its rest, engine seconds: before drive, set-up, carving.
        pieces: Piece id and chance of each, ``None`` where there is no forecast of it yet.
        p_meal: Chance that all are ready, pieces of one pit hanging together; ``None`` where a
            piece has no forecast and the others do not decide it.
        verdict: ``on-time``, ``late`` (under the threshold), ``early`` or ``unknown``.
        advice: What to do, empty if on time.
    """

    service: Service
    by_s: float
    pieces: tuple[tuple[str, float | None], ...]
    p_meal: float | None
    verdict: Literal["on-time", "late", "early", "unknown"]
    advice: str = ""


def readiness(
    dishes: Sequence[ServedPiece],
    services: Sequence[Service],
    now_s: float,
    carve_min: float,
    threshold: float = ADVISE_UNDER,
    faster: str = "",
) -> tuple[Readiness, ...]:
    """Return the chance of being ready by each service.

    Args:
        carve_min: Minutes to carve and set out.
        faster: What would help, as ``what_if`` words it; joined to the advice when late.
    """
    return tuple(
        _ready(dishes, service, now_s, carve_min, threshold, faster) for service in services
    )


def chance_by(dish: ServedPiece, seconds: float) -> float | None:
    """Return the chance that a dish is off its rest within ``seconds`` from now, if it is known."""
    return None if dish.answer.is_unknown else chance_of(dish.answer, seconds - dish.rest_s)


def chance_of(answer: Answer, left_s: float) -> float:
    """Return the chance that a target is reached within ``left_s`` from now; 0 without a time."""
    return chance(answer.p10_s, answer.p50_s, answer.p90_s, answer.p_reach, left_s)


def chance(
    p10_s: float | None, p50_s: float | None, p90_s: float | None, p_reach: float, left_s: float
) -> float:
    """Return the chance that a time with these quantiles lies within ``left_s``."""
    if p10_s is None or p50_s is None or p90_s is None:
        return 0.0
    if p50_s <= 0:
        return 1.0 if left_s >= 0 else 0.0
    if left_s <= 0:
        return 0.0
    edge = p10_s if left_s < p50_s else p90_s
    spread = max(abs(log(max(edge, 1) / p50_s)) / _Z90, 1e-9)
    return p_reach * _UNIT.cdf(log(left_s / p50_s) / spread)


def together(chances: Sequence[float], shared: float = SHARED) -> float:
    """Return the chance that all happen, with one common factor of correlation ``shared``."""
    if any(chance <= 0.0 for chance in chances):
        return 0.0
    levels = [_UNIT.inv_cdf(min(chance, _CERTAIN)) for chance in chances]
    total = 0.0
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        product = 1.0
        for level in levels:
            product *= _UNIT.cdf((level - sqrt(shared) * node) / sqrt(1.0 - shared))
        total += weight * product
    return min(max(total, 0.0), min(chances, default=1.0))


def hold_hours(pull_at_c: float, place: str = "box") -> float:
    """Return how long a piece off the pit stays over 140 F in a usual box."""
    tau, _, air, _ = USUAL[place]
    return tau * log((pull_at_c - air) / (HOLD_TO_C - air))


def _ready(
    dishes: Sequence[ServedPiece],
    service: Service,
    now_s: float,
    carve_min: float,
    threshold: float,
    faster: str,
) -> Readiness:
    by_s = service.at_ms / 1000.0 - 60.0 * (service.drive_min + service.setup_min + carve_min)
    pieces = tuple((dish.answer.piece, chance_by(dish, by_s - now_s)) for dish in dishes)
    known = [(chance, piece) for piece, chance in pieces if chance is not None]
    p_meal = together([chance for chance, _ in known]) if known else 0.0
    shown = tuple((piece, None if p is None else round(p, 3)) for piece, p in pieces)
    where = f" at {service.place}" if service.place else ""
    if known and p_meal < threshold:
        advice = (
            f"{show_chance(p_meal)} likely to be ready for the service{where}; "
            f"{min(known)[1]} decides{'; ' + faster if faster else ''}"
        )
        return Readiness(service, by_s, shown, round(p_meal, 3), "late", advice)
    if len(known) < len(pieces):
        without = ", ".join(piece for piece, chance in pieces if chance is None)
        advice = f"cannot say yet whether the meal is ready{where}: no forecast of {without}"
        return Readiness(service, by_s, shown, None, "unknown", advice)
    if dishes and (spare := _spare_s(dishes, by_s - now_s)) > EARLY_S:
        coolest = min(dish.pull_at_c for dish in dishes)
        advice = f"ready {show_duration(spare * 1000)} early{where}: {hold_plan(coolest, spare)}"
        return Readiness(service, by_s, shown, round(p_meal, 3), "early", advice)
    return Readiness(service, by_s, shown, round(p_meal, 3), "on-time")


def _spare_s(dishes: Sequence[ServedPiece], left_s: float) -> float:
    """Return how long the last dish would wait even if it came late (nine in ten)."""
    ends = [d.answer.p90_s + d.rest_s for d in dishes if d.answer.p90_s is not None]
    return left_s - max(ends) if ends else 0.0


def hold_plan(pull_at_c: float, spare_s: float) -> str:
    """Return how to hold for so long what comes off the pit at this temperature."""
    hours = hold_hours(pull_at_c)
    if spare_s <= 0.8 * hours * 3600.0:
        return f"hold it wrapped in a box, good for about {hours:.0f} h above 140 F; log its core"
    return (
        f"a box lasts about {hours:.0f} h above 140 F: hold it in a cabinet set to 150 F or more, "
        "or let the pit down to 150 F; log its core"
    )
