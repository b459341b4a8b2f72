"""Grade, supplier, wrap, pull temperature, pit: what past pieces had, and what it says of the next.

The levels of a factor are drawn to their common mean: with few pieces, or levels that hardly
differ, nothing is left of a difference. No cause is claimed.

Source: Gelman et al., Bayesian Data Analysis, 3rd edition, section 5.4 (number from memory),
as in ``shrinkage``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from pitlogger.model.quantities import show_temperature
from pitlogger.yields.learned.belief import Belief
from pitlogger.yields.learned.shrinkage import shrink
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
# Pieces of the level asked for, and of its cut in all, from which a difference may be told.
ENOUGH_OF_LEVEL, ENOUGH_IN_ALL = 3, 6


@dataclass(frozen=True, slots=True)
class Effect:
    """What a factor's value says of the next cook.

    Attributes:
        factor: One of ``FACTORS``.
        value: As it was asked for.
        n: Past pieces that had it.
        shift: On the logit scale, against all of the cut's pieces; ``None`` where too few
            pieces tell.
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
        levels = [level_of(piece, factor) for piece in pieces]
        effect, shifts = _effect(factor, value, levels, moved, before)
        effects.append(effect)
        if effect.shift is not None:
            wanted = shifts[plain(value)]
            moved = [
                y if level is None else y - shifts[level] + wanted
                for y, level in zip(moved, levels, strict=True)
            ]
    return moved, tuple(effects)


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
    n = len(groups.get(plain(value), ()))
    told = sum(map(len, groups.values()))
    if n < ENOUGH_OF_LEVEL or told < ENOUGH_IN_ALL or len(groups) < 2:
        return Effect(factor, value, n), {}
    means = {level: math.fsum(ys) / len(ys) for level, ys in groups.items()}
    squares = math.fsum((y - means[level]) ** 2 for level, ys in groups.items() for y in ys)
    nu = max(before.nu, 0.0)
    within = (nu * before.spread**2 if nu else 0.0) + squares
    variance = within / (nu + told - len(groups))
    errors = [variance / len(ys) for ys in groups.values()]
    pooled = shrink(list(means.values()), errors)
    common = math.fsum(values) / len(values)
    shifts = dict(zip(groups, (group - common for group in pooled.groups), strict=True))
    own = variance / n
    tau2 = pooled.tau**2
    doubt = tau2 * own / (tau2 + own) if tau2 else 0.0
    return Effect(factor, value, n, shifts[plain(value)], doubt), shifts


def less_sure(belief: Belief, effects: Sequence[Effect]) -> Belief:
    """Return a belief whose mean is as uncertain as the shifts that were added to it."""
    doubt = math.fsum(effect.variance for effect in effects if effect.shift is not None)
    if not doubt:
        return belief
    kappa = 1.0 / (1.0 / belief.kappa + doubt / belief.spread**2)
    return Belief(belief.mean, kappa, belief.nu, belief.sum_squares)
