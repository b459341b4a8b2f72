"""The quote of a job: low, middle and high yield and meat price."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import partial
from itertools import product
from typing import Any, Literal

from pitlogger.errors import FieldError
from pitlogger.formats.job_file import JobFile, MeatTable
from pitlogger.formats.money import rounded
from pitlogger.planning.document import as_fields
from pitlogger.planning.job_purchase import question
from pitlogger.planning.past import PastCooks
from pitlogger.planning.plan_answer import Bought, PlanAnswer
from pitlogger.planning.purchase import plan
from pitlogger.yields.money.quote import Labour, QuotedJob, QuoteOutcome, outcome

Coin = Callable[[Decimal], Decimal]  # money rounded to the smallest unit of the currency
Level = Literal["p10", "p50", "p90"]
_LEVELS: tuple[Level, ...] = ("p10", "p50", "p90")
_BASIS: dict[Level, str] = {"p10": "p10", "p50": "median", "p90": "p90"}
NO_PAST = PastCooks()


@dataclass(frozen=True, slots=True)
class QuoteScenario:
    """What the job costs and earns at one yield and one price of the meat.

    ``left_g`` is what is left over of the servable meat, grams; below zero it is short.
    """

    yield_: Level
    meat_price: Level
    left_g: int
    meat: Decimal
    fixed: Decimal
    labour: Decimal
    card_fee: Decimal
    profit: Decimal
    food_cost_pct: Decimal
    margin_per_guest: Decimal
    break_even_guests: int | None
    profit_per_hour: Decimal | None


@dataclass(frozen=True, slots=True)
class Actual:
    """The job after the fact, against all that was spent."""

    guests: int
    income: Decimal
    spent: Decimal
    profit: Decimal
    profit_per_hour: Decimal | None


@dataclass(frozen=True, slots=True)
class QuoteAnswer:
    """A quote; money in ``currency``, rounded to its smallest unit."""

    job: str
    currency: str
    guests: int
    valid_until: date | None
    subtotal: Decimal
    service: Decimal
    tax: Decimal
    total: Decimal
    deposit: Decimal
    labour_hours: Decimal
    purchase: tuple[Bought, ...]
    scenarios: tuple[QuoteScenario, ...]
    actual: Actual | None
    notes: tuple[str, ...]

    def document(self) -> dict[str, Any]:
        """Return it as ``pitlogger price --job --json`` prints it."""
        return as_fields(self)


def quote(source: JobFile, past: PastCooks = NO_PAST) -> QuoteAnswer:
    """Return the quote of a job file.

    Raises:
        FieldError: The job cannot be quoted.
    """
    bought = plan(question(source, _portion_g(source)), past)
    job = read_job(source)
    coin = partial(rounded, currency=source.job.currency)
    scenarios = tuple(
        _scenario(at, price, outcome(job, _meat(source, bought, price)), _left_g(bought, at), coin)
        for at, price in product(_LEVELS, _LEVELS)
    )
    notes = [
        f"{dish.cut}: {note}" if len(bought.dishes) > 1 else note
        for dish in bought.dishes
        for note in dish.notes
    ]
    return QuoteAnswer(
        source.job.name,
        source.job.currency,
        job.guests,
        source.job.valid_until,
        coin(job.subtotal),
        coin(job.service),
        coin(job.tax),
        coin(job.total),
        coin(job.deposit),
        job.hours,
        bought.shopping,
        scenarios,
        _actual(source, job, coin),
        (*bought.notes, *notes),
    )


def read_job(source: JobFile) -> QuotedJob:
    """Return the job that a job file describes; fuel is a fixed line by its mass."""
    fixed = [(line.what, line.cost) for line in source.fixed]
    if source.fuel is not None and source.fuel.mass is not None:
        fixed.append(("fuel", Decimal(source.fuel.mass) / 1000 * source.fuel.price))
    of = source.job
    if of.price_per_guest is None:
        raise FieldError(
            "price_per_guest", "what a guest pays is missing; 'pitlogger job' fills it in"
        )
    return QuotedJob(
        of.guests,
        of.price_per_guest,
        tuple((line.what, line.cost) for line in source.per_guest),
        tuple(fixed),
        tuple(
            Labour(role.role, role.hours, role.rate, role.night_hours, role.night_rate)
            for role in source.labour
        ),
        of.minimum_order,
        of.service_pct,
        of.tax_pct,
        of.card_fee_pct,
        of.deposit_pct,
    )


def _portion_g(source: JobFile) -> float:
    if source.job.portion is None:
        raise FieldError("portion", "how much a guest gets is missing, such as '5 oz'")
    return source.job.portion / 1000


def _meat(source: JobFile, bought: PlanAnswer, price: Level) -> Decimal:
    """Return the cost of the raw meat: whole pieces, as many as keep the risk."""
    total = Decimal(0)
    for meat, dish in zip(source.meat, bought.dishes, strict=True):
        if dish.purchase_g is None:
            raise FieldError("guests", f"no number of {meat.cut} keeps the risk; look at the plan")
        total += Decimal(repr(dish.purchase_g)) * _price_at(meat, price)
    return total


def _left_g(bought: PlanAnswer, at: Level) -> float:
    """Return what is left over at a yield, short below zero; grams."""
    served_g = (getattr(dish.basis, _BASIS[at]) * (dish.purchase_g or 0) for dish in bought.dishes)
    return math.fsum(served_g) - math.fsum(dish.demand_g for dish in bought.dishes)


def _price_at(meat: MeatTable, price: Level) -> Decimal:
    if meat.price is None:
        raise FieldError("price", f"what {meat.cut} costs is missing, such as '4.29/lb'")
    asked = {"p10": meat.price_low, "p50": meat.price, "p90": meat.price_high}[price]
    return meat.price if asked is None else asked


def _scenario(
    at: Level, price: Level, found: QuoteOutcome, left_g: float, coin: Coin
) -> QuoteScenario:
    return QuoteScenario(
        at,
        price,
        round(left_g),
        coin(found.meat),
        coin(found.fixed),
        coin(found.labour),
        coin(found.card_fee),
        coin(found.profit),
        round(found.food_cost_pct, 2),
        coin(found.margin_per_guest),
        found.break_even,
        None if found.profit_per_hour is None else coin(found.profit_per_hour),
    )


def _actual(source: JobFile, job: QuotedJob, coin: Coin) -> Actual | None:
    if source.actual is None:
        return None
    labour = sum((role.cost for role in job.labour), Decimal(0))
    spent = source.actual.meat_cost + source.actual.other_cost + labour
    income = source.actual.income or Decimal(0)
    profit = income - spent
    return Actual(
        source.actual.guests,
        coin(income),
        coin(spent),
        coin(profit),
        coin(profit / job.hours) if job.hours else None,
    )
