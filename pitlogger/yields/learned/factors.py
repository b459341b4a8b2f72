"""Grade, supplier, wrap, pull temperature, pit: what past pieces had, and what it says of the next.

The levels of a factor are drawn to their common mean: with few pieces, or levels that hardly
differ, nothing is left of a difference. No cause is claimed.

Source: Gelman et al., Bayesian Data Analysis, 3rd edition, section 5.4 (number from memory),
as in ``shrinkage``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from pitlogger.model.quantities import parse_temperature_mc, show_temperature
from pitlogger.yields.learned.belief import Belief
from pitlogger.yields.learned.shrinkage import tau_squared
from pitlogger.yields.records import PastPiece

FACTORS: dict[str, Callable[[PastPiece], str | None]] = {
    "wrap": lambda piece: piece.wrap,
    "grade": lambda piece: piece.grade,
    "supplier": lambda piece: piece.supplier,
    "pit": lambda piece: piece.pit,
    "pull_at": lambda piece: (
        None if piece.pull_at_mc is None else show_temperature(piece.pull_at_mc)
    ),
}
# How much levels of a factor differ before any was seen, on the logit scale: judgements, worth
# two levels. A supplier, a pit, a wrap never tried here lies somewhere in it.
_BETWEEN = {"wrap": 0.08, "grade": 0.05, "supplier": 0.10, "pit": 0.08, "pull_at": 0.04}
_WORTH = 2.0
# A brisket loses 3.3 points of yield over 5 degC (85 C to 90 C, held 3 h): Kerth, Wall,
# Grayson-Holter, Meat and Muscle Biology, article 18269 (abstract); on the logit scale a degC.
PULL_SLOPE = {"brisket": -0.033 / 5.0 / 0.25}


@dataclass(frozen=True, slots=True)
class Effect:
    """What a factor's value says of the next cook.

    Attributes:
        factor: One of ``FACTORS``.
        value: As it was asked for.
        n: Past pieces that had it.
        shift: On the logit scale, against all of the cut's pieces; ``None`` where none tell.
        variance: Squared uncertainty of the shift.
    """

    factor: str
    value: str
    n: int
    shift: float | None = None
    variance: float = 0.0


def level_of(piece: PastPiece, factor: str) -> str | None:
    """Return the level of a factor that a piece had, in one way of writing."""
    value = FACTORS[factor](piece)
    return plain(value) if value else None


def plain(value: str) -> str:
    return " ".join(value.casefold().split())


def given_levels(
    pieces: Sequence[PastPiece],
    values: Sequence[float],
    asked: Mapping[str, str],
    before: Belief,
) -> tuple[list[float], tuple[Effect, ...]]:
    """Return the values as they would be at the levels asked for, and what each factor did.

    Args:
        pieces: Past pieces of one cut.
        values: Logit of the yield of each.
        asked: Factor and the value the next cook has.
        before: Belief before any of them, for the spread within a level.
    """
    moved, effects = list(values), []
    for factor, value in asked.items():
        before_mean = _mean(moved)
        if factor == "pull_at":
            moved = _as_pulled_at(pieces, moved, value)
        levels = [level_of(piece, factor) for piece in pieces]
        effect, shifts = _effect(factor, value, levels, moved, before)
        if effect.shift is not None:
            moved = [
                y - shifts.get(level or "", 0.0) + effect.shift
                for y, level in zip(moved, levels, strict=True)
            ]
            effect = replace(effect, shift=_mean(moved) - before_mean)
        effects.append(effect)
    return moved, tuple(effects)


def _as_pulled_at(
    pieces: Sequence[PastPiece], values: Sequence[float], pull_at: str
) -> list[float]:
    """Return the values as they would be at a pull temperature, where a slope is published."""
    asked_mc = parse_temperature_mc(pull_at)
    return [
        y
        if piece.pull_at_mc is None
        else y + PULL_SLOPE.get(piece.family, 0.0) * (asked_mc - piece.pull_at_mc) / 1000
        for piece, y in zip(pieces, values, strict=True)
    ]


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values) if values else 0.0


def _effect(
    factor: str,
    value: str,
    levels: Sequence[str | None],
    values: Sequence[float],
    before: Belief,
) -> tuple[Effect, dict[str, float]]:
    groups: dict[str, list[float]] = {}
    for level, y in zip(levels, values, strict=True):
        if level is not None:
            groups.setdefault(level, []).append(y)
    own = groups.get(plain(value), [])
    if not groups:
        return Effect(factor, value, 0), {}
    within2 = _within(groups, before)
    tau2 = _between(factor, groups, within2)
    common = _mean([_mean(ys) for ys in groups.values()])
    drawn = {level: _drawn(ys, common, tau2, within2) for level, ys in groups.items()}
    at, doubt = _drawn(own, common, tau2, within2) if own else (0.0, tau2)
    if len(groups) == 1 and own:
        doubt = 0.0  # all that was learned is of this level
    return Effect(factor, value, len(own), at, doubt), {k: shift for k, (shift, _) in drawn.items()}


def _within(groups: Mapping[str, Sequence[float]], before: Belief) -> float:
    """Return the variance of pieces of one level."""
    squares = math.fsum((y - _mean(ys)) ** 2 for ys in groups.values() for y in ys)
    told = sum(map(len, groups.values()))
    nu = max(before.nu, 0.0)
    freedom = nu + told - len(groups)
    within = (nu * before.spread**2 if nu else 0.0) + squares
    return within / freedom if freedom > 0 and within > 0 else _BETWEEN["supplier"] ** 2


def _between(factor: str, groups: Mapping[str, Sequence[float]], within2: float) -> float:
    """Return the variance between levels: what was seen, drawn to what is usual."""
    seen = len(groups) - 1
    errors = [within2 / len(ys) for ys in groups.values()]
    found = tau_squared([_mean(ys) for ys in groups.values()], errors)
    return (_WORTH * _BETWEEN[factor] ** 2 + seen * found) / (_WORTH + seen)


def _drawn(ys: Sequence[float], common: float, tau2: float, within2: float) -> tuple[float, float]:
    """Return a level's shift against the common mean, drawn to it, and its variance."""
    share = tau2 / (tau2 + within2 / len(ys))
    return share * (_mean(ys) - common), tau2 * (1.0 - share)


def less_sure(belief: Belief, effects: Sequence[Effect]) -> Belief:
    """Return a belief whose mean is as uncertain as the shifts that were added to it."""
    doubt = math.fsum(effect.variance for effect in effects if effect.shift is not None)
    if not doubt:
        return belief
    kappa = 1.0 / (1.0 / belief.kappa + doubt / belief.spread**2)
    return Belief(belief.mean, kappa, belief.nu, belief.sum_squares)
