"""The answer of a job, typed: one purchase, and all that follows from it. Money is ``Decimal``."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from pitlogger.planning.document import as_fields
from pitlogger.planning.timeline import ScheduleAnswer
from pitlogger.yields.money.bill import BillShown
from pitlogger.yields.purchase.masses import Enough
from pitlogger.yields.purchase.rescue import Remedy


@dataclass(frozen=True, slots=True)
class Assumed:
    """Something that the person did not say and that was filled in."""

    field: str
    value: str
    why: str


@dataclass(frozen=True, slots=True)
class MoneyOption:
    """An option in money: the meat, what being short is expected to cost, both together."""

    pieces: int
    meat: Decimal
    shortage: Decimal
    total: Decimal


@dataclass(frozen=True, slots=True)
class ByMoney:
    """The purchase that is expected to cost least, and what it balances."""

    pieces: int
    total: Decimal
    balances: str
    curve: tuple[MoneyOption, ...]


@dataclass(frozen=True, slots=True)
class OtherWay:
    """The same dish from another cut."""

    cut: str
    pieces: int | None
    purchase_g: float | None
    meat: Decimal | None
    p_enough: float
    cost_per_served_kg: Decimal | None
    work_h: float


@dataclass(frozen=True, slots=True)
class OnTheWay:
    """A dish whose cook is open: whether its pieces will do, as weighed last.

    Attributes:
        weighed_at: The last checkpoint that any of them had.
        short_g: Served mass that is missing at the accepted risk; 0 if none is.
        remedies: What helps, the most helpful first.
    """

    pieces: int
    weighed_at: str
    p_enough: float
    short_g: float
    remedies: tuple[Remedy, ...]


@dataclass(frozen=True, slots=True)
class JobDish:
    """What is bought for a dish; masses in grams.

    ``pieces`` keep the risk; ``order_more`` of them are not delivered yet. ``billed_g`` is what the
    butcher bills, after cases and rounding. ``work_h`` is trimming and carving.
    """

    cut: str
    name: str
    supplier: str
    share_pct: Decimal
    demand_g: float
    demand_sd_g: float
    pieces: int
    order_more: int
    purchase_g: float
    billed_g: float
    price_per_kg: Decimal
    meat: Decimal
    p_enough: float
    expected_g: float
    leftover_g: float
    low_g: float
    high_g: float
    cost_per_served_kg: Decimal
    work_h: float
    options: tuple[Enough, ...]
    by_money: ByMoney | None
    other_ways: tuple[OtherWay, ...]
    now: OnTheWay | None = None


@dataclass(frozen=True, slots=True)
class Costs:
    """What the job costs; food alone is what the textbook's percentage takes."""

    meat: Decimal
    food: Decimal
    disposables: Decimal
    other: Decimal
    labour: Decimal
    labour_hours: Decimal
    fuel: Decimal
    card_fee: Decimal
    credits: Decimal
    total: Decimal


@dataclass(frozen=True, slots=True)
class Earned:
    """What is left of the income.

    Attributes:
        low, middle, high: Profit at a yield that one in ten falls below, at the median, and at
            one that nine in ten stay below; what is short is bought in.
        food_cost_pct: Food alone over the food's price (Gisslen, Professional Cooking).
        margin_pct, markup_pct: Profit over income, and over cost.
        break_even_guests: The fewest guests that cover the fixed cost; ``None`` if none do.
    """

    income: Decimal
    low: Decimal
    middle: Decimal
    high: Decimal
    per_hour: Decimal | None
    food_cost_pct: Decimal | None
    prime_cost_pct: Decimal | None
    margin_pct: Decimal | None
    markup_pct: Decimal | None
    break_even_guests: int | None


@dataclass(frozen=True, slots=True)
class Why:
    """A part of the difference between what was planned and what came of it, money."""

    what: str
    amount: Decimal


@dataclass(frozen=True, slots=True)
class Result:
    """The job after the event, against the plan."""

    guests: int
    income: Decimal
    spent: Decimal
    profit: Decimal
    planned: Decimal
    why: tuple[Why, ...]
    eaten_per_guest_g: float | None
    servable_pct: float | None
    left_g: float | None
    teaches: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Person:
    """Who works, and at what: ``prep``, ``pit``, ``serve``."""

    role: str
    does: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class JobAnswer:
    """One job: purchase, schedule, bill, cost, result; each number from the same purchase.

    ``utc_offset_min`` is the offset from UTC that the job's times are written with.
    """

    job: str
    client: str
    place: str
    currency: str
    guests: int
    children: int
    utc_offset_min: int | None
    assumed: tuple[Assumed, ...]
    dishes: tuple[JobDish, ...]
    risk_pct: float
    p_all_enough: float
    schedule: ScheduleAnswer | None
    bill: BillShown
    costs: Costs
    earned: Earned
    result: Result | None
    notes: tuple[str, ...]
    people: tuple[Person, ...] = ()

    def document(self) -> dict[str, Any]:
        """Return it as ``pitlogger job show --json`` prints it."""
        return as_fields(self)
