"""One job from the enquiry to the invoice: every number in it comes from the same purchase."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta, timezone
from decimal import ROUND_CEILING, Decimal
from functools import partial

from pitlogger.errors import FieldError
from pitlogger.formats.job_file import ByWeightTable, JobFile
from pitlogger.formats.money import rounded
from pitlogger.model.cooks import Cook, Piece
from pitlogger.model.kitchen import KitchenTimes
from pitlogger.model.quantities import show_mass
from pitlogger.planning.fields import check_eaten
from pitlogger.planning.job.answer import (
    Assumed,
    Costs,
    Earned,
    JobAnswer,
    Person,
)
from pitlogger.planning.job.prices import per_lb_and_kg, price_doubts
from pitlogger.planning.job.purchase import Purchase, buy, question
from pitlogger.planning.job.result import result
from pitlogger.planning.job.times import check_serving_time, offset_min, services, time_notes
from pitlogger.planning.job.under_way import with_cooks_under_way
from pitlogger.planning.leftovers import NOT_COOLED, counts
from pitlogger.planning.past import PastCooks
from pitlogger.planning.timeline import MOST_PIECES, ScheduleAnswer, ScheduleQuestion, schedule
from pitlogger.rules.policies import portion_changes, shipped_kitchen, shipped_portions
from pitlogger.yields.money.bill import BillShown, BillTerms, InvoiceLine, Payment, bill

NO_PAST = PastCooks()
# Filled in where nothing is said and nothing is on record: starting points, no source.
MEAT_PER_KG, FOOD_COST_PCT = Decimal(10), Decimal(30)
_HUNDRED = Decimal(100)
_NO_TRADE_SCALE = (
    "A price by weight asks for a legal-for-trade scale: name it with the line that is sold by "
    'weight, else the client\'s papers say "about". The local weights and measures office decides.'
)
Coin = Callable[[Decimal], Decimal]


def answer_job(
    source: JobFile,
    past: PastCooks = NO_PAST,
    *,
    kitchen: KitchenTimes | None = None,
    currency: str = "",
    now_ms: int | None = None,
    cooled: bool | None = None,
) -> JobAnswer:
    """Return all that a job file asks.

    Args:
        source: The job.
        past: What was learned.
        kitchen: How long the work takes; as shipped if not given.
        currency: That the kitchen uses, for a job that names none.
        now_ms: The present; a serving time long past is refused where it is given.
        cooled: Whether the food log of the job's cooks shows leftovers cooled in time; ``None``
            where there is none to look at.

    Raises:
        FieldError: The job cannot be answered; it names the field.
    """
    kitchen = kitchen or shipped_kitchen()
    assumed: list[Assumed] = []
    source = _with_currency(source, currency, assumed)
    coin = partial(rounded, currency=source.job.currency)
    for service in services(source) if source.actual is None else ():
        check_serving_time(service.at_ms, now_ms)
    portion_g = _portion_g(source, assumed)
    prices = [_price(source, index, past, assumed) for index in range(len(source.meat))]
    bought = buy(source, question(source, portion_g), past, prices, kitchen)
    meat = sum((dish.meat for dish in bought.dishes), Decimal(0))
    per_guest = _price_per_guest(source, meat, assumed)
    guests = _billed_guests(source)
    lines, paid = _lines(source, per_guest, guests), _payments(source)
    made = bill(lines, _terms(source), coin, paid, guests)
    timed = _schedule(source, bought, past, kitchen)
    costs = _costs(source, meat, made, timed, coin, cooled)
    earned = _earned(source, bought, made, costs, per_guest, coin)
    return JobAnswer(
        source.job.name,
        source.job.client,
        source.job.place,
        source.job.currency,
        source.job.guests,
        source.job.children,
        offset_min(source),
        tuple(assumed),
        with_cooks_under_way(source, bought.dishes, past, bought.risk_pct / 100),
        bought.risk_pct,
        bought.p_all_enough,
        timed,
        made,
        costs,
        earned,
        result(source, bought, made, costs, earned, past, coin),
        (
            *price_doubts(source, ""),
            *time_notes(source, now_ms),
            *bought.notes,
            *_trade_notes(source),
            *((NOT_COOLED,) if cooled is False else ()),
        ),
        tuple(Person(one.role, one.does or _by_name(one.role)) for one in source.labour),
    )


def _by_name(role: str) -> tuple[str, ...]:
    return tuple(does for does in ("prep", "pit", "serve") if does in role.casefold().split())


def _with_currency(source: JobFile, currency: str, assumed: list[Assumed]) -> JobFile:
    if source.job.currency or not currency:
        return source
    assumed.append(Assumed("job.currency", currency, "the kitchen's own"))
    job = source.job.model_copy(update={"currency": currency})
    return source.model_copy(update={"job": job})


def _portion_g(source: JobFile, assumed: list[Assumed]) -> float:
    given = [("job.portion", source.job.portion)]
    given += [(f"meat.{number}.portion", meat.portion) for number, meat in enumerate(source.meat)]
    for field, mass_mg in given:
        if mass_mg is not None:
            check_eaten(mass_mg / 1000, show_mass(mass_mg, "oz"), field)
    if source.job.portion is not None:
        return source.job.portion / 1000
    practice = shipped_portions()[source.job.service]
    told = services(source)
    hour = None if not told else datetime.fromtimestamp(told[0].at_ms / 1000, _zone(source)).hour
    changes = portion_changes(source.job.sides, hour)
    portion_g = practice.usual_g * math.prod(factor for factor, _ in changes)
    why = [f"{source.job.service}: {practice.source}", *(words for _, words in changes)]
    if source.job.children:
        why.append(f"a child {source.job.child_share_pct:f} % of it: from memory")
    assumed.append(Assumed("job.portion", show_mass(portion_g * 1000, "oz"), "; ".join(why)))
    return portion_g


def _zone(source: JobFile) -> timezone | None:
    offset = offset_min(source)
    return None if offset is None else timezone(timedelta(minutes=offset))


def _price(source: JobFile, index: int, past: PastCooks, assumed: list[Assumed]) -> Decimal:
    meat = source.meat[index]
    if meat.price is not None:
        return meat.price
    known = [p for p in past.pieces if p.cut == meat.cut and p.price_per_kg is not None]
    last = known[-1].price_per_kg if known else None
    why = f"paid last ({known[-1].cook})" if known else "a starting point, no source"
    per_kg = MEAT_PER_KG if last is None else last
    assumed.append(Assumed(f"meat.{meat.cut}.price", per_lb_and_kg(per_kg), why))
    return per_kg / 1000


def _price_per_guest(source: JobFile, meat: Decimal, assumed: list[Assumed]) -> Decimal:
    if source.job.price_per_guest is not None or source.tier:
        return source.job.price_per_guest or Decimal(0)
    people = source.job.guests + source.job.children
    food = meat / people + sum(
        (one.cost for one in source.per_guest if one.kind == "food"), Decimal(0)
    )
    asked = (food / (FOOD_COST_PCT / _HUNDRED)).quantize(Decimal(1), ROUND_CEILING)
    assumed.append(
        Assumed(
            "job.price_per_guest", f"{asked}", f"food at {FOOD_COST_PCT} % of the price, rounded up"
        )
    )
    return asked


def _billed_guests(source: JobFile) -> int:
    """Return who is billed: the higher of the guarantee and those who came."""
    expected = source.job.guests + source.job.children
    guaranteed = expected if source.job.guarantee is None else source.job.guarantee
    return guaranteed if source.actual is None else max(guaranteed, source.actual.guests)


def _lines(source: JobFile, per_guest: Decimal, guests: int) -> list[InvoiceLine]:
    if source.tier:
        told = sum(tier.guests for tier in source.tier)
        lines = [InvoiceLine(tier.what, Decimal(tier.guests), tier.price) for tier in source.tier]
        if guests > told:
            dearest = max(source.tier, key=lambda tier: tier.price)
            lines.append(
                InvoiceLine(f"{dearest.what}, further", Decimal(guests - told), dearest.price)
            )
    else:
        lines = [InvoiceLine("guests", Decimal(guests), per_guest)]
    lines += [InvoiceLine(one.what, one.count, one.price, one.taxable) for one in source.charge]
    return lines + [_by_weight(one) for one in source.by_weight]


def _by_weight(sold: ByWeightTable) -> InvoiceLine:
    """Return a line of what is sold by weight: "about" without a legal-for-trade scale."""
    about = "" if sold.scale else "about "
    mass = f"{about}{show_mass(sold.mass, 'lb')} ({show_mass(sold.mass, 'kg')})"
    return InvoiceLine(
        f"{sold.what}, {mass}", Decimal(1), sold.price * sold.mass / 1000, sold.taxable
    )


def _trade_notes(source: JobFile) -> list[str]:
    if all(sold.scale for sold in source.by_weight):
        return []
    return [_NO_TRADE_SCALE]


def _terms(source: JobFile) -> BillTerms:
    job = source.job
    return BillTerms(
        job.minimum_order, job.discount, job.discount_pct, job.service_pct, job.service_taxable,
        job.tax_pct, job.tax_rounding, job.tax_exemption, job.gratuity_pct, job.deposit_pct,
        job.card_fee_pct,
    )  # fmt: skip


def _payments(source: JobFile) -> list[Payment]:
    return [Payment(one.on, one.amount, one.method) for one in source.payment]


def _schedule(
    source: JobFile, bought: Purchase, past: PastCooks, kitchen: KitchenTimes
) -> ScheduleAnswer | None:
    sittings = services(source)
    if not sittings:
        return None
    pieces: list[Piece] = []
    for dish in bought.dishes:
        shares = _apart(dish.pieces, [sitting.guests or 0 for sitting in sittings])
        several = len(shares) > 1
        first = 1
        for number, (count, sitting) in enumerate(zip(shares, sittings, strict=False), 1):
            place = sitting.place if several else None
            if source.pits and dish.pieces <= MOST_PIECES:
                ids = range(first, first + count)
                pieces += [Piece(f"{dish.cut}-{k}", dish.cut, service=place) for k in ids]
            else:
                name = f"{dish.cut}-{number}" if several else dish.cut
                pieces.append(Piece(name, dish.cut, count=count, service=place))
            first += count
    cook = Cook(source.job.name or "job", tuple(pieces), services=sittings)
    return schedule(ScheduleQuestion(cook, pits=source.pits, kitchen=kitchen), past)


def _apart(pieces: int, guests: Sequence[int]) -> list[int]:
    """Return the pieces of each sitting by its guests, the earlier ones rounded up.

    All together where a sitting names no guests or would have no piece of its own.
    """
    if len(guests) < 2 or not all(guests):
        return [pieces]
    whole, taken, shares, ahead = sum(guests), 0, list[int](), 0
    for count in guests:
        ahead += count
        until = -(-pieces * ahead // whole)
        shares.append(until - taken)
        taken = until
    return shares if all(shares) else [pieces]


def _costs(
    source: JobFile, meat: Decimal, made: BillShown, timed: ScheduleAnswer | None, coin: Coin,
    cooled: bool | None,
) -> Costs:  # fmt: skip
    guests = Decimal(source.job.guests + source.job.children)

    def per_guest(kind: str) -> Decimal:
        return coin(guests * sum((o.cost for o in source.per_guest if o.kind == kind), Decimal(0)))

    hours = sum((role.hours + role.night_hours for role in source.labour), Decimal(0))
    labour = Decimal(0)
    for role in source.labour:
        night = role.rate if role.night_rate is None else role.night_rate
        paid = role.hours * role.rate + role.night_hours * night
        labour += paid * (1 + role.burden_pct / _HUNDRED)
    other = per_guest("other") + sum((one.cost for one in source.fixed), Decimal(0))
    card = made.total * source.job.card_fee_pct / _HUNDRED
    credited = sum(
        (Decimal(one.mass) / 1000 * one.price for one in source.credit if counts(one, cooled)),
        Decimal(0),
    )
    parts = [
        meat,
        per_guest("food"),
        per_guest("disposables"),
        other,
        labour,
        _fuel(source, timed),
        card,
    ]
    spent = [coin(part) for part in parts]
    return Costs(
        spent[0], spent[1], spent[2], spent[3], spent[4], hours, spent[5], spent[6], coin(credited),
        sum(spent, Decimal(0)) - coin(credited),
    )  # fmt: skip


def _fuel(source: JobFile, timed: ScheduleAnswer | None) -> Decimal:
    """Return the cost of fuel: its mass, else so much for each hour of fire."""
    if source.fuel is None:
        return Decimal(0)
    if source.fuel.mass is not None:
        return Decimal(source.fuel.mass) / 1000 * source.fuel.price
    if source.fuel.mass_per_h is None or timed is None:
        raise FieldError("fuel", "give its mass, or mass_per_h with a serving time")
    last = max(piece.off_by for piece in timed.pieces)
    hours = Decimal(round((last - timed.light_by).total_seconds())) / 3600
    return Decimal(source.fuel.mass_per_h) / 1000 * hours * source.fuel.price


def _earned(
    source: JobFile, bought: Purchase, made: BillShown, costs: Costs, per_guest: Decimal, coin: Coin
) -> Earned:
    profit = made.income - costs.total
    levels = [profit - coin(_short_cost(source, bought, level)) for level in ("low", "high")]
    food = costs.meat + costs.food
    carried = sum((coin(one.count * one.price) for one in source.charge), Decimal(0))
    kept = 1 - made.discount / made.subtotal if made.subtotal else Decimal(0)
    sold = (made.subtotal - carried) * kept  # delivery and hire are no food
    fixed = costs.labour + costs.fuel + costs.other
    people = Decimal(max(1, source.job.guests + source.job.children))
    margin = made.income - food - costs.disposables - costs.card_fee
    even = None
    if margin > 0:
        even = int((fixed * people / margin).to_integral_value(ROUND_CEILING))

    def pct(part: Decimal, whole: Decimal) -> Decimal | None:
        return round(part / whole * _HUNDRED, 2) if whole else None

    return Earned(
        made.income,
        levels[0],
        profit,
        levels[1],
        coin(profit / costs.labour_hours) if costs.labour_hours else None,
        pct(food, sold),
        pct(food + costs.labour, sold),
        pct(profit, made.income),
        pct(profit, costs.total),
        even,
    )


def _short_cost(source: JobFile, bought: Purchase, level: str) -> Decimal:
    """Return what has to be bought in at a low or high yield, at its price or the dish's own."""
    total = Decimal(0)
    shortage = source.shortage
    for dish in bought.dishes:
        served_g = dish.low_g if level == "low" else dish.high_g
        short_g = Decimal(repr(max(0.0, dish.demand_g - served_g)))
        own = dish.cost_per_served_kg / 1000
        price = own if shortage is None or shortage.bought_in is None else shortage.bought_in
        total += short_g * price
    return total
