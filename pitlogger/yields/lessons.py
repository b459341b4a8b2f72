"""What past cooks teach: the next cook of each cut, dear steps, what the best did differently.

Differences are shown with their n; nothing is said of causes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from pitlogger.model.quantities import show_temperature
from pitlogger.yields.belief import expit, logit
from pitlogger.yields.causes import CHAIN
from pitlogger.yields.cut_priors import cut_prior
from pitlogger.yields.document import learned_document
from pitlogger.yields.learning import Observed, learn, observations
from pitlogger.yields.ledger import account
from pitlogger.yields.records import PastPiece
from pitlogger.yields.shrinkage import shrink
from pitlogger.yields.step_learning import learn_steps
from pitlogger.yields.tolerance import most_exceed

_FACTORS: dict[str, Callable[[PastPiece], str | None]] = {
    "wrap": lambda piece: piece.wrap,
    "grade": lambda piece: piece.grade,
    "supplier": lambda piece: piece.supplier,
    "pit": lambda piece: piece.pit,
    "pull_at": lambda piece: (
        None if piece.pull_at_mc is None else show_temperature(piece.pull_at_mc)
    ),
}
_ENOUGH_TO_COMPARE = 6


@dataclass(frozen=True, slots=True)
class Level:
    """One value of a factor: how many pieces, and their yield drawn to the common one."""

    factor: str
    value: str
    n: int
    mean_share: float
    shrunk_share: float


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
    for one in observed:
        value, share = _FACTORS[factor](one.record), one.share()
        if value and share is not None:
            groups.setdefault(value, []).append(logit(share))
    if len(groups) < 2:
        return []
    means = [math.fsum(values) / len(values) for values in groups.values()]
    pooled = shrink(means, [within**2 / len(values) for values in groups.values()])
    return [
        Level(factor, value, len(values), expit(mean), expit(shrunk))
        for (value, values), mean, shrunk in zip(groups.items(), means, pooled.groups, strict=True)
    ]


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
class Difference:
    """How often the best third had a value of a factor, against the others."""

    factor: str
    value: str
    best_n: int
    best_of: int
    rest_n: int
    rest_of: int


def differences(observed: Sequence[Observed]) -> list[Difference]:
    """Return what the best third had more often than the rest; empty with few pieces."""
    ranked = sorted(observed, key=lambda one: -(one.share() or 0.0))
    if len(ranked) < _ENOUGH_TO_COMPARE:
        return []
    cut = len(ranked) // 3
    best, rest = ranked[:cut], ranked[cut:]
    found = []
    for factor, of in _FACTORS.items():
        for value in dict.fromkeys(of(one.record) for one in best):
            if value is None:
                continue
            in_best = sum(of(one.record) == value for one in best)
            in_rest = sum(of(one.record) == value for one in rest)
            if in_best / len(best) > in_rest / len(rest) + 0.2:
                found.append(Difference(factor, value, in_best, len(best), in_rest, len(rest)))
    return found


def eaten_per_guest_g(history: Iterable[PastPiece]) -> list[float]:
    """Return the servable mass eaten per guest of each cook that tells it, grams.

    A cook tells it when its guests are known and everything served was weighed, with what
    was left over.
    """
    cooks: dict[str, list[PastPiece]] = {}
    for piece in history:
        cooks.setdefault(piece.cook, []).append(piece)
    found = []
    for cook in cooks.values():
        guests = next((piece.guests for piece in cook if piece.guests), None)
        served = [piece for piece in cook if "served" in piece.masses]
        if guests and served and any("leftover" in piece.masses for piece in served):
            # Where the line was weighed out, the leftover is no part of what was served.
            found.append(math.fsum(piece.masses["served"].value for piece in served) / guests)
    return found


def lessons_document(history: Sequence[PastPiece], cut: str | None = None) -> dict[str, Any]:
    """Return ``{"pieces", "cuts", "eaten_per_guest_g", "notes"}`` for one cut, or all seen."""
    observed = observations(history)
    seen = [cut] if cut else list(dict.fromkeys(piece.cut for piece in history))
    chosen = [piece for piece in history if cut is None or piece.cut == cut]
    eaten = eaten_per_guest_g(history)
    return {
        "pieces": [_piece(piece) for piece in chosen],
        "cuts": [_cut(name, observed) for name in seen],
        "eaten_per_guest_g": [round(g, 1) for g in eaten],
        "notes": [] if chosen else ["Nothing on record."],
    }


def _piece(piece: PastPiece) -> dict[str, Any]:
    share = account(piece).servable_yield
    return {
        "cook": piece.cook,
        "date": piece.date,
        "piece": piece.piece,
        "cut": piece.cut,
        "count": piece.count,
        "masses_g": {
            name: round(piece.masses[name].value, 3)
            for name in (*CHAIN, *(n for n in piece.masses if n not in CHAIN))
            if name in piece.masses
        },
        "servable_pct": None if share is None else round(share.value * 100, 4),
        "wrap": piece.wrap,
        "notes": piece.notes,
    }


def _cut(name: str, observed: Sequence[Observed]) -> dict[str, Any]:
    own = [one for one in observed if one.record.cut == name and one.share() is not None]
    total_g = math.fsum(one.record.masses["purchased"].value for one in own)
    served_g = math.fsum(one.servable_g for one in own)
    bound = most_exceed([share for one in own if (share := one.share()) is not None])
    return {
        "cut": name,
        "learned": learned_document(learn(name, observed)),
        "nine_in_ten_exceed_pct": None if bound is None else round(bound * 100, 4),
        "sum_ratio_pct": round(100 * served_g / total_g, 4) if total_g else None,
        "steps": [
            {
                "from": step.start,
                "to": step.end,
                "n": step.n,
                "median": round(step.quantile(0.5), 6),
                "p10": round(step.quantile(0.1), 6),
                "p90": round(step.quantile(0.9), 6),
            }
            for step in learn_steps(one.record for one in own)
        ],
        "dear_steps": [
            {
                "cause": step.cause,
                "n": step.n,
                "mean_g": round(step.mean_g, 1),
                "share_pct": round(step.share * 100, 3),
                "money": None if step.money is None else round(step.money, 2),
            }
            for step in dear_steps(own)
        ],
        "factors": [
            {
                "factor": level.factor,
                "value": level.value,
                "n": level.n,
                "mean_pct": round(level.mean_share * 100, 3),
                "shrunk_pct": round(level.shrunk_share * 100, 3),
            }
            for factor in _FACTORS
            for level in levels(own, factor, cut_prior(name).within)
        ],
        "best_had_more_often": [
            {
                "factor": d.factor,
                "value": d.value,
                "best": f"{d.best_n} of {d.best_of}",
                "rest": f"{d.rest_n} of {d.rest_of}",
            }
            for d in differences(own)
        ],
    }
