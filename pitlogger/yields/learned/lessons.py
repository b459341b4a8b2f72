"""What past cooks teach: the next cook of each cut, dear steps, what the best did differently.

Differences are shown with their n; nothing is said of causes.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pitlogger.yields.learned.belief import expit, logit
from pitlogger.yields.learned.factors import FACTORS
from pitlogger.yields.learned.servable import Observed
from pitlogger.yields.learned.shrinkage import shrink
from pitlogger.yields.ledger import account
from pitlogger.yields.records import PastPiece

_ENOUGH_TO_COMPARE = 6
_NINE_IN_TEN = 1.645
_DAY_SHARE = 0.4  # of the variance, as in ``kitchen``


@dataclass(frozen=True, slots=True)
class Level:
    """One value of a factor: how many pieces, and their yield drawn to the common one.

    ``low_share`` to ``high_share`` holds nine in ten; ``differs`` where all of it lies to one
    side of what all values have in common.
    """

    factor: str
    value: str
    n: int
    mean_share: float
    shrunk_share: float
    low_share: float
    high_share: float
    differs: bool


@dataclass(frozen=True, slots=True)
class DearStep:
    """Loss by one cause over all pieces of a cut; grams, share of purchased, money or None."""

    cause: str
    n: int
    mean_g: float
    share: float
    money: float | None


def levels(observed: Sequence[Observed], factor: str, within: float) -> list[Level]:
    """Return the values a factor took, each mean drawn to the common one.

    Args:
        observed: Pieces of one cut.
        factor: ``wrap``, ``grade``, ``supplier``, ``pit`` or ``pull_at``.
        within: Standard deviation within a level, on the logit scale.
    """
    groups: dict[str, list[float]] = {}
    cooks: dict[str, Counter[str]] = {}
    for one in observed:
        value, share = FACTORS[factor](one.record), one.share()
        if value and share is not None:
            groups.setdefault(value, []).append(logit(share))
            cooks.setdefault(value, Counter())[one.record.cook] += 1
    if len(groups) < 2:
        return []
    means = [math.fsum(values) / len(values) for values in groups.values()]
    pooled = shrink(means, [within**2 / _worth(cooks[value].values()) for value in groups])
    found = []
    for (value, values), mean, shrunk, variance in zip(
        groups.items(), means, pooled.groups, pooled.variances, strict=True
    ):
        wide = _NINE_IN_TEN * math.sqrt(variance)
        shares = (expit(mean), expit(shrunk), expit(shrunk - wide), expit(shrunk + wide))
        differs = abs(shrunk - pooled.mean) > wide
        found.append(Level(factor, value, len(values), *shares, differs))
    return found


def _worth(sizes: Iterable[int]) -> float:
    """Return how many pieces of days of their own those of some cooks amount to."""
    return math.fsum(n / (1.0 + (n - 1) * _DAY_SHARE) for n in sizes)


def dear_steps(observed: Iterable[Observed]) -> list[DearStep]:
    """Return the loss by cause, the largest mean loss first; gains are left out."""
    found: dict[str, list[tuple[float, float, float | None]]] = {}
    for one in observed:
        purchased = one.record.masses.get("purchased")
        if purchased is None:
            continue
        price = one.record.price_per_kg
        for cause, loss in account(one.record).losses_g.items():
            if loss.value > 0 and cause != "leftover":
                money = None if price is None else float(price) * loss.value / 1000
                found.setdefault(cause, []).append(
                    (loss.value, loss.value / purchased.value, money)
                )
    steps = [
        DearStep(
            cause,
            len(rows),
            math.fsum(g for g, _, _ in rows) / len(rows),
            math.fsum(share for _, share, _ in rows) / len(rows),
            _mean([money for _, _, money in rows if money is not None]),
        )
        for cause, rows in found.items()
    ]
    return sorted(steps, key=lambda step: -step.mean_g)


def _mean(values: Sequence[float]) -> float | None:
    return math.fsum(values) / len(values) if values else None


@dataclass(frozen=True, slots=True)
class FactorDifference:
    """How often the best third had a value of a factor, against the others."""

    factor: str
    value: str
    best_n: int
    best_of: int
    rest_n: int
    rest_of: int


def differences(observed: Sequence[Observed]) -> list[FactorDifference]:
    """Return what the best third had more often than the rest; empty with few pieces."""
    ranked = sorted(observed, key=lambda one: -(one.share() or 0.0))
    if len(ranked) < _ENOUGH_TO_COMPARE:
        return []
    cut = len(ranked) // 3
    best, rest = ranked[:cut], ranked[cut:]
    found = []
    for factor, of in FACTORS.items():
        for value in dict.fromkeys(of(one.record) for one in best):
            if value is None:
                continue
            in_best = sum(of(one.record) == value for one in best)
            in_rest = sum(of(one.record) == value for one in rest)
            if in_best / len(best) > in_rest / len(rest) + 0.2:
                found.append(
                    FactorDifference(factor, value, in_best, len(best), in_rest, len(rest))
                )
    return found


@dataclass(frozen=True, slots=True)
class TenderLevel:
    """Mean tenderness mark of the pieces that had one value of a factor."""

    factor: str
    value: str
    n: int
    mean: float


def tender_levels(pieces: Iterable[PastPiece]) -> list[TenderLevel]:
    """Return how tender pieces were by each value of a factor; only where values differ."""
    marked = [piece for piece in pieces if piece.tender is not None]
    found = []
    for factor, of in FACTORS.items():
        groups: dict[str, list[int]] = {}
        for piece in marked:
            if (value := of(piece)) and piece.tender is not None:
                groups.setdefault(value, []).append(piece.tender)
        if len(groups) > 1:
            found += [
                TenderLevel(factor, value, len(marks), sum(marks) / len(marks))
                for value, marks in groups.items()
            ]
    return found
