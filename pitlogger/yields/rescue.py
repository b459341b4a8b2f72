"""Short of meat: by how much, and what still helps, each with its new probability.

How much a remedy gains is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from pitlogger.model.quantities import show_mass
from pitlogger.yields.demand import Demand
from pitlogger.yields.plan import Question
from pitlogger.yields.sufficiency import PieceMass, Supply, enough, supply

_CHOPPED_KEEPS = 1.04  # ends and crumbs are served, not left on the board
_SIDES_REPLACE = 0.15  # share of the meat that generous sides stand in for
_SMALLER = (0.10, 0.20)


@dataclass(frozen=True, slots=True)
class Remedy:
    """Something that still helps; ``p_enough`` is with it alone."""

    remedy: str
    p_enough: float
    message: str


@dataclass(frozen=True, slots=True)
class Shortfall:
    """How likely what is there is enough, and what would make it so.

    Attributes:
        p_enough: As things stand.
        short_g: Servable mass to add to reach the accepted risk, grams; 0 if it is enough.
        remedies: What helps, the most helpful first.
    """

    p_enough: float
    short_g: float
    remedies: tuple[Remedy, ...] = ()


def shortfall(question: Question, light_by: str = "") -> Shortfall:
    """Judge the pieces that are there, and what could be done.

    Args:
        question: With the pieces that are there as ``weighed``.
        light_by: Time by which another piece would have to be on, as shown to people;
            empty where it is unknown, and another piece is then offered without a time.
    """
    grid = supply(question.learned.belief, question.learned.day_share)
    now = _p(grid, question)
    goal = 1.0 - question.risk
    if now >= goal:
        return Shortfall(now, 0.0)
    short_g = _short_g(grid, question, goal)
    found = sorted(_remedies(grid, question, short_g, light_by), key=lambda r: -r.p_enough)
    return Shortfall(now, short_g, tuple(found))


def _p(grid: Supply, question: Question) -> float:
    return enough(grid, question.weighed, question.wanted, question.fixed_g).p_enough


def _short_g(grid: Supply, question: Question, goal: float) -> float:
    """Return the mass to add, to a gram, by halving; the demand alone is always enough."""
    low, high = 0.0, question.wanted.mean_g + 6.0 * question.wanted.sd_g
    while high - low > 1.0:
        middle = 0.5 * (low + high)
        more = replace(question, fixed_g=question.fixed_g + middle)
        low, high = (low, middle) if _p(grid, more) >= goal else (middle, high)
    return high


def _remedies(grid: Supply, question: Question, short_g: float, light_by: str) -> Iterator[Remedy]:
    another = replace(question, weighed=(*question.weighed, question.typical))
    by = f", if it is on by {light_by}" if light_by else ", if there is time to cook it"
    yield Remedy("another-piece", _p(grid, another), f"another piece like these{by}")
    for less in _SMALLER:
        smaller = replace(question, wanted=_scaled(question.wanted, 1.0 - less))
        yield Remedy(f"portions-{less:.0%}-smaller".replace("%", "-pct"), _p(grid, smaller),
                     f"portions {less:.0%} smaller")  # fmt: skip
    chopped = tuple(PieceMass(p.mean_g * _CHOPPED_KEEPS, p.sd_g) for p in question.weighed)
    yield Remedy("chop", _p(grid, replace(question, weighed=chopped)), "chop instead of slice")
    sided = replace(question, wanted=_scaled(question.wanted, 1.0 - _SIDES_REPLACE))
    yield Remedy("sides", _p(grid, sided), "more sides, put out first")
    bought = replace(question, fixed_g=question.fixed_g + short_g)
    yield Remedy("buy-in", _p(grid, bought), f"buy in {show_mass(short_g * 1000)} cooked meat")


def _scaled(wanted: Demand, factor: float) -> Demand:
    return Demand(wanted.mean_g * factor, wanted.sd_g * factor, wanted.third_g3 * factor**3)
