"""Short of meat: by how much, and what still helps, each with its new probability.

How much a remedy gains is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from pitlogger.model.quantities import show_mass, show_share
from pitlogger.yields.purchase.demand import Demand
from pitlogger.yields.purchase.masses import PieceMass
from pitlogger.yields.purchase.plan import PurchaseQuestion
from pitlogger.yields.purchase.sufficiency import enough, supply

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


@dataclass(frozen=True, slots=True)
class OtherCourse:
    """How things could stand instead.

    Attributes:
        wanted: What is asked for.
        more_g: Servable mass added, grams.
        keeps: Factor on what the pieces give.
        another: Whether another piece like these is cooked.
    """

    wanted: Demand
    more_g: float = 0.0
    keeps: float = 1.0
    another: bool = False


Chance = Callable[[OtherCourse], float]  # probability that it is enough


def shortfall(question: PurchaseQuestion, light_by: str | None = "") -> Shortfall:
    """Judge the pieces that are there, and what could be done.

    Args:
        question: With the pieces that are there as ``weighed``.
        light_by: Time by which another piece would have to be lit, as shown to people;
            empty where it is unknown, ``None`` where it is too late for one.
    """
    grid = supply(question.learned.parts)

    def chance(change: OtherCourse) -> float:
        pieces = tuple(PieceMass(p.mean_g * change.keeps, p.sd_g) for p in question.weighed)
        pieces += (question.typical,) * change.another
        return enough(grid, pieces, change.wanted, question.fixed_g + change.more_g).p_enough

    return judge_shortfall(chance, question.wanted, question.risk, light_by)


def judge_shortfall(chance: Chance, wanted: Demand, risk: float, light_by: str | None) -> Shortfall:
    """Return by how much it is short at a risk, and what each remedy would make of it."""
    now = chance(OtherCourse(wanted))
    goal = 1.0 - risk
    if now >= goal:
        return Shortfall(now, 0.0)
    short_g = _short_g(chance, wanted, goal)
    found = sorted(_remedies(chance, wanted, short_g, light_by), key=lambda r: -r.p_enough)
    return Shortfall(now, short_g, tuple(found))


def _short_g(chance: Chance, wanted: Demand, goal: float) -> float:
    """Return the mass to add, to a gram, by halving; the demand alone is always enough."""
    low, high = 0.0, wanted.mean_g + 6.0 * wanted.sd_g
    while high - low > 1.0:
        middle = 0.5 * (low + high)
        is_enough = chance(OtherCourse(wanted, more_g=middle)) >= goal
        low, high = (low, middle) if is_enough else (middle, high)
    return high


def _remedies(
    chance: Chance, wanted: Demand, short_g: float, light_by: str | None
) -> Iterator[Remedy]:
    now = OtherCourse(wanted)
    if light_by is not None:
        by = f", if lit by {light_by}" if light_by else ", if there is time to cook it"
        another = chance(replace(now, another=True))
        yield Remedy("another-piece", another, f"another piece like these{by}")
    for less in _SMALLER:
        smaller = chance(replace(now, wanted=_scaled(wanted, 1.0 - less)))
        yield Remedy(f"portions-{round(less * 100)}-pct-smaller", smaller,
                     f"portions {show_share(less)} smaller")  # fmt: skip
    yield Remedy("chop", chance(replace(now, keeps=_CHOPPED_KEEPS)), "chop instead of slice")
    sided = chance(replace(now, wanted=_scaled(wanted, 1.0 - _SIDES_REPLACE)))
    yield Remedy("sides", sided, "more sides, put out first")
    bought = chance(replace(now, more_g=short_g))
    yield Remedy("buy-in", bought, f"buy in {show_mass(short_g * 1000)} cooked meat")


def _scaled(wanted: Demand, factor: float) -> Demand:
    return Demand(wanted.mean_g * factor, wanted.sd_g * factor, wanted.third_g3 * factor**3)
