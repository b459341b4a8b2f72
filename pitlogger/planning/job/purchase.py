"""What a job buys: as butchers sell it, with the chance that no dish runs short, and in money."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from pitlogger.errors import FieldError
from pitlogger.formats.job_file import JobFile, MeatTable, ShortageTable
from pitlogger.formats.money import per_unit, rounded
from pitlogger.model.kitchen import KitchenTimes
from pitlogger.model.quantities import show_share
from pitlogger.planning.fields import Dish, Order, Portion
from pitlogger.planning.job.answer import ByMoney, JobDish, MoneyOption, OtherWay
from pitlogger.planning.past import PastCooks
from pitlogger.planning.plan_answer import DishPlan, PlanAnswer
from pitlogger.planning.plan_question import PlanQuestion
from pitlogger.planning.purchase import plan
from pitlogger.views.words import cut as cut_word
from pitlogger.yields.learned.kitchen import in_common
from pitlogger.yields.purchase.by_money import Shortage, balances, cheapest
from pitlogger.yields.purchase.joint import none_short
from pitlogger.yields.purchase.masses import Enough

PAID_RISK_PCT, PARTY_RISK_PCT = 1.0, 5.0
# Written masses are kept to the milligram: 12 lb is a little more than twelve times 1 lb.
_WRITTEN_G = 1.0


@dataclass(frozen=True, slots=True)
class Purchase:
    """Dishes as bought, and the chance that none runs short."""

    dishes: tuple[JobDish, ...]
    p_all_enough: float
    risk_pct: float
    notes: tuple[str, ...]


def question(source: JobFile, portion_g: float) -> PlanQuestion:
    """Return what the purchase of a job is asked."""
    job = source.job
    return PlanQuestion(
        guests=job.guests,
        children=job.children,
        child_share_pct=float(job.child_share_pct),
        dishes=tuple(_dish(meat) for meat in source.meat),
        portion=Portion(portion_g),
        portion_sd_g=None if job.portion_sd is None else job.portion_sd / 1000,
        service=job.service,
        leave_g=job.leave / 1000,
        show_rate_pct=None if job.show_rate_pct is None else float(job.show_rate_pct),
        risk_pct=job.risk_pct,
        paid=job.paid,
    )


def _dish(meat: MeatTable, cut: str | None = None) -> Dish:
    order = Order(
        _g(meat.piece_from), _g(meat.piece_to), tuple(mass / 1000 for mass in meat.arrived),
        meat.case_pieces, _g(meat.case_mass), meat.at_least / 1000,
    )  # fmt: skip
    portion = None if meat.portion is None else Portion(meat.portion / 1000)
    own = order if cut is None else Order(at_least_g=order.at_least_g)
    return Dish(cut or meat.cut, float(meat.share_pct) / 100, portion, own)


def _g(mass_mg: int | None) -> float | None:
    return None if mass_mg is None else mass_mg / 1000


def buy(
    source: JobFile,
    asked: PlanQuestion,
    past: PastCooks,
    prices: Sequence[Decimal],
    kitchen: KitchenTimes,
) -> Purchase:
    """Return the purchase of a job.

    Args:
        source: The job.
        asked: From ``question``.
        past: What was learned.
        prices: Price of each meat, money per gram.
        kitchen: How long the work takes.

    Raises:
        FieldError: No number of pieces keeps the risk.
    """
    risk_pct = asked.risk_pct or (PAID_RISK_PCT if asked.paid else PARTY_RISK_PCT)
    found = plan(asked, past)
    shared = [in_common(past.learned(dish.cut).parts) for dish in found.dishes]
    pieces = _jointly(source, found, shared, prices, risk_pct / 100)
    p_all = none_short(
        [_option(d, k).p_enough for d, k in zip(found.dishes, pieces, strict=True)], shared
    )
    dishes = tuple(
        _bought(source, meat, dish, count, price, asked, past, kitchen)
        for meat, dish, count, price in zip(source.meat, found.dishes, pieces, prices, strict=True)
    )
    several = len(dishes) > 1
    notes = [f"{d.cut}: {note}" if several else note for d in found.dishes for note in d.notes]
    common = [note for note in found.notes if not note.startswith("Each dish keeps the risk")]
    return Purchase(dishes, round(p_all, 6), risk_pct, (*common, *notes))


def _jointly(
    source: JobFile,
    found: PlanAnswer,
    shared: Sequence[float],
    prices: Sequence[Decimal],
    risk: float,
) -> list[int]:
    """Return pieces of each dish that together keep the risk of running short of anything.

    Starts from what keeps it for each alone and adds where a unit of money helps most.
    """
    pieces = []
    for number, dish in enumerate(found.dishes):
        if dish.recommended is None:
            reason = (
                f"no number of {cut_word(dish.cut)} up to {len(dish.options)} keeps the risk of "
                f"{100 * risk:g} %; check at_least, case_pieces, arrived, and the share_pct"
            )
            raise FieldError(f"meat.{number}", reason)
        pieces.append(dish.recommended)
    while True:
        now = [_option(d, k).p_enough for d, k in zip(found.dishes, pieces, strict=True)]
        if none_short(now, shared) >= 1.0 - risk:
            return pieces
        gains = []
        for index, (dish, meat) in enumerate(zip(found.dishes, source.meat, strict=True)):
            more = pieces[index] + meat.case_pieces
            if more <= dish.options[-1].pieces:
                gain = _option(dish, more).p_enough - now[index]
                mass_g = dish.options[0].expected_g * meat.case_pieces
                gains.append((gain / (mass_g * float(prices[index]) + 1e-9), index, more))
        if not gains or max(gains)[0] <= 0:
            return pieces
        _, index, pieces[index] = max(gains)


def _option(dish: DishPlan, pieces: int) -> Enough:
    return next(option for option in dish.options if option.pieces == pieces)


def billed(meat: MeatTable, mass_g: float, price: Decimal) -> tuple[float, Decimal]:
    """Return what the butcher bills: the mass after rounding up, and money after price breaks."""
    if meat.round_to:
        step_g = meat.round_to / 1000
        mass_g = -((_WRITTEN_G - mass_g) // step_g) * step_g
    mass_g = max(mass_g, meat.at_least / 1000)
    reached = [one for one in meat.breaks if one.from_mass / 1000 <= mass_g + _WRITTEN_G]
    best = max(reached, key=lambda one: one.from_mass, default=None)
    return mass_g, Decimal(repr(mass_g)) * (price if best is None else best.price)


def _bought(
    source: JobFile,
    meat: MeatTable,
    dish: DishPlan,
    pieces: int,
    price: Decimal,
    asked: PlanQuestion,
    past: PastCooks,
    kitchen: KitchenTimes,
) -> JobDish:
    chosen, currency = _option(dish, pieces), source.job.currency
    mass_g = _mass_g(dish, pieces, len(meat.arrived))
    billed_g, money = billed(meat, mass_g, price)
    served_g = Decimal(repr(chosen.expected_g))
    return JobDish(
        dish.cut,
        meat.name or cut_word(dish.cut),
        meat.supplier,
        meat.share_pct,
        dish.demand_g,
        dish.demand_sd_g,
        pieces,
        pieces - len(meat.arrived),
        round(mass_g, 3),
        round(billed_g, 3),
        rounded(per_unit(money / Decimal(repr(billed_g)), "kg"), currency),
        rounded(money, currency),
        chosen.p_enough,
        chosen.expected_g,
        chosen.leftover_g,
        round(mass_g * dish.basis.p10, 3),
        round(mass_g * dish.basis.p90, 3),
        rounded(money / served_g * 1000, currency),
        _work_h(pieces, kitchen),
        dish.options,
        _by_money(source.shortage, meat, dish, price, currency),
        tuple(
            _other(meat, one.cut, one.price, asked, past, kitchen, currency) for one in meat.or_else
        ),
    )


def _mass_g(dish: DishPlan, pieces: int, there: int) -> float:
    """Return the raw mass of so many pieces, by the share of it that is expected to be served."""
    if pieces == dish.recommended and dish.purchase_g is not None:
        return dish.purchase_g
    assert dish.recommended is not None, "buy refuses a dish without an answer"
    known_g = dish.purchase_g or 0.0
    one = _option(dish, pieces).expected_g / _option(dish, dish.recommended).expected_g
    return known_g * one


def _by_money(
    shortage: ShortageTable | None, meat: MeatTable, dish: DishPlan, price: Decimal, currency: str
) -> ByMoney | None:
    if shortage is None:
        return None
    lost = float(shortage.refund + shortage.good_name)
    bought_in = 0.0 if shortage.bought_in is None else float(shortage.bought_in)
    can = [o for o in dish.options if o.pieces >= len(meat.arrived)
           and (o.pieces - len(meat.arrived)) % meat.case_pieces == 0]  # fmt: skip
    found = balances(
        can,
        dish.demand_g,
        lambda k: float(billed(meat, _mass_g(dish, k, len(meat.arrived)), price)[1]),
        Shortage(lost, bought_in),
    )
    best = cheapest(found)

    def coin(value: float) -> Decimal:
        return rounded(Decimal(repr(value)), currency)

    curve = tuple(
        MoneyOption(one.pieces, coin(one.meat), coin(one.shortage), coin(one.total))
        for one in found
    )
    words = (
        f"meat {coin(best.meat)} against {coin(best.shortage)} expected for being short "
        f"({show_share(1 - _option(dish, best.pieces).p_enough, 1)} likely)"
    )
    return ByMoney(best.pieces, coin(best.total), words, curve)


def _other(
    meat: MeatTable,
    cut: str,
    price: Decimal,
    asked: PlanQuestion,
    past: PastCooks,
    kitchen: KitchenTimes,
    currency: str,
) -> OtherWay:
    """Return the same dish from another cut."""
    share = float(meat.share_pct) / 100
    portion_g = (asked.portion or Portion()).mass_g * share
    alone = replace(
        asked,
        dishes=(replace(_dish(meat, cut), share=1.0),),
        portion=Portion(portion_g),
        leave_g=asked.leave_g * share,
    )
    (dish,) = plan(alone, past).dishes
    if dish.recommended is None or dish.purchase_g is None:
        return OtherWay(cut, None, None, None, dish.options[-1].p_enough, None, 0.0)
    money = Decimal(repr(dish.purchase_g)) * price
    chosen = _option(dish, dish.recommended)
    return OtherWay(
        cut,
        dish.recommended,
        dish.purchase_g,
        rounded(money, currency),
        chosen.p_enough,
        rounded(money / Decimal(repr(chosen.expected_g)) * 1000, currency),
        _work_h(dish.recommended, kitchen),
    )


def _work_h(pieces: int, kitchen: KitchenTimes) -> float:
    return round(pieces * (kitchen.trim_ms + kitchen.carve_ms) / 3_600_000, 2)
