"""Who eats how much, on which terms: parties, accepted risk, who comes."""

from __future__ import annotations

from dataclasses import dataclass

from pitlogger.errors import FieldError
from pitlogger.planning.fields import Portion
from pitlogger.planning.plan_question import PlanQuestion
from pitlogger.rules.policies import shipped_portions
from pitlogger.yields.purchase.demand import Party
from pitlogger.yields.purchase.plan import PORTIONS_BY_COUNT

PAID_RISK, PARTY_RISK = 0.01, 0.05
MOST_EATEN_G = 1000.0


@dataclass(frozen=True, slots=True)
class Terms:
    """Accepted risk, share of the booked who come, margin on top, all as fractions."""

    risk: float
    show_rate: float
    over: float
    paid: bool
    shared_cv: float = 0.0


def terms_of(
    paid: bool, risk_pct: float | None, show_rate_pct: float | None, over_pct: float
) -> Terms:
    """Return the terms of a meal; what contradicts a paid guarantee is refused.

    A paid guarantee is owed: everybody counts and the risk is 1 %. Otherwise the risk is 5 % and
    everybody comes.
    """
    if paid and show_rate_pct not in (None, 100.0):
        raise FieldError(
            "show_rate_pct",
            "{paid} with {show_rate_pct}: the guarantee is owed, so everybody counts. "
            "Leave one of the two out",
        )
    risk = PAID_RISK if paid else PARTY_RISK
    if risk_pct is not None:
        risk = _between(risk_pct, "risk_pct", 99.0) / 100
    rate = 1.0 if show_rate_pct is None else _between(show_rate_pct, "show_rate_pct", 100.0) / 100
    if not 0.0 <= over_pct <= 100.0:
        raise FieldError("over_pct", f"{over_pct:g} % is not between 0 and 100")
    return Terms(risk, rate, over_pct / 100, paid)


def _between(value: float, field: str, high: float) -> float:
    if not 0.0 < value <= high:
        raise FieldError(field, f"{value:g} % is not above 0 and at most {high:g}")
    return value


def parties(
    guests: int, children: int, portion: Portion, portion_sd_g: float, child_share: float
) -> tuple[Party, ...]:
    """Return adults and children with their portions; counted ones in pieces, not grams."""
    if min(guests, children) < 0:
        field = "guests" if guests < 0 else "children"
        raise FieldError(field, "{guests} and {children} cannot be below zero")
    if guests + children < 1:
        raise FieldError("guests", "0 guests; expected one or more")
    if portion.count:
        each = float(portion.count)
        return (Party(guests, each), Party(children, each))
    if portion_sd_g > portion.mass_g:
        raise FieldError(
            "portion_sd_g",
            f"{portion_sd_g:.0f} g is more than the portion of {portion.mass_g:.0f} g; "
            "check the unit",
        )
    return (
        Party(guests, portion.mass_g, portion_sd_g),
        Party(children, portion.mass_g * child_share, portion_sd_g * child_share),
    )


def portion_sd_g(question: PlanQuestion, portion_g: float) -> float:
    """Return how much portions differ, grams: as given, else as usual with the kind of service.

    What no single guest eats is an order, and exact.
    """
    if question.portion_sd_g is not None:
        return question.portion_sd_g
    if portion_g > MOST_EATEN_G:
        return 0.0
    return shipped_portions()[question.service].spread * portion_g


def portions_per_piece(portion: Portion, cut: str) -> int:
    """Return how many counted portions a piece of the cut gives."""
    known = PORTIONS_BY_COUNT[portion.word]
    if cut not in known:
        raise FieldError(
            "portion",
            f"{cut} is not served by the {portion.word}; "
            f"that fits {', '.join(known)}. Give a mass, such as 5oz",
        )
    return known[cut]
