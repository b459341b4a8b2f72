"""What a plan is asked: guests, dishes, pieces, terms; checked as a whole."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from pitlogger.errors import FieldError, unknown
from pitlogger.model.portions import SERVICE_KINDS, ServiceKind
from pitlogger.model.quantities import show_share
from pitlogger.planning.fields import Dish, Portion
from pitlogger.yields.learned.factors import FACTORS
from pitlogger.yields.learned.servable import PriorKind


@dataclass(frozen=True, slots=True)
class PlanQuestion:
    """What a plan is asked.

    Attributes:
        guests: Adults booked.
        dishes: Cuts served; the shares of several come to 1 or more (people try both).
        portion: Servable, an adult's; ``None`` only with ``from_meals``, or where each dish has
            its own.
        portion_sd_g: How much portions differ from guest to guest, 0 for exactly alike; ``None``
            for what is usual with the kind of ``service``.
        piece_mass_g, piece_sd_g: A piece to be bought; else from the cut's policy.
        pieces_g: Pieces that are there, in order, weighed at the checkpoint ``weighed_at``.
        leave_g: Servable mass that is to be left over.
        paid: Whether the guarantee is owed in full.
        price_per_g: Of the raw meat; ``budget`` needs it.
        from_meals: Portion and show rate as at past meals, where not given.
        factors: Of the next cook, by the names of ``yields.learned.factors.FACTORS``.
        light_by: When another piece would have to be lit, as shown to people; empty where that
            is unknown, ``None`` where it is past.
    """

    guests: int
    dishes: tuple[Dish, ...]
    portion: Portion | None = None
    children: int = 0
    child_share_pct: float = 50.0  # about half of an adult's: from memory
    portion_sd_g: float | None = None
    service: ServiceKind = "buffet"
    piece_mass_g: float | None = None
    piece_sd_g: float | None = None
    pieces_g: tuple[float, ...] = ()
    weighed_at: str = "purchased"
    leave_g: float = 0.0
    over_pct: float = 0.0
    risk_pct: float | None = None
    show_rate_pct: float | None = None
    paid: bool = False
    price_per_g: Decimal | None = None
    budget: Decimal | None = None
    prior: PriorKind = "cut"
    from_meals: bool = False
    factors: Mapping[str, str] = field(default_factory=dict)
    light_by: str | None = ""

    def __post_init__(self) -> None:
        if not self.dishes:
            raise FieldError("cut", "give {cut} for one cut or {dishes} for several")
        if self.service not in SERVICE_KINDS:
            raise FieldError("service", unknown("kind of service", self.service, SERVICE_KINDS))
        if odd := set(self.factors) - set(FACTORS):
            raise FieldError("factors", f"unknown {min(odd)}; one of {', '.join(FACTORS)}")
        if self.budget is not None and self.price_per_g is None:
            raise FieldError("budget", "{budget} needs {price_per_g}, such as 4.29/lb")
        if not 0 <= self.child_share_pct <= 100:
            reason = f"{self.child_share_pct:g} % is not between 0 and 100"
            raise FieldError("child_share_pct", reason)
        self._check_pieces()
        self._check_portions()
        _check_shares(self.dishes)

    def _check_pieces(self) -> None:
        bought = self.piece_mass_g is not None or self.piece_sd_g is not None
        if self.pieces_g and bought:
            reason = "{pieces_g} are weighed: leave {piece_mass_g} and {piece_sd_g} out"
            raise FieldError("pieces_g", reason)
        if len(self.dishes) > 1 and (self.pieces_g or bought):
            reason = "{dishes} has pieces of several cuts: plan weighed pieces one {cut} a time"
            raise FieldError("dishes", reason)

    def _check_portions(self) -> None:
        without = [dish.cut for dish in self.dishes if dish.portion is None]
        if without and self.portion is None and not self.from_meals:
            reason = f"how much a guest gets of {without[0]}, such as 5oz or 140 g"
            raise FieldError("portion", f"{{portion}} is missing: {reason}")


def _check_shares(dishes: Sequence[Dish]) -> None:
    if len({dish.cut for dish in dishes}) < len(dishes):
        raise FieldError("dishes", "a cut is named twice; add its shares")
    if wrong := next((dish for dish in dishes if not 0 < dish.share <= 1), None):
        reason = f"{show_share(wrong.share)} of {wrong.cut} is not above 0 and at most 100 %"
        raise FieldError("dishes", reason)
    if (total := sum(dish.share for dish in dishes)) < 0.999:
        reason = f"the shares come to {show_share(total)}; expected 100 % or more (people try both)"
        raise FieldError("dishes", reason)
