"""What a job costs and earns: every line of it, for several yields and meat prices."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from pitlogger.errors import UsageError
from pitlogger.yields.money.pricing import break_even_guests

_HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class Labour:
    """Hours of one role; night hours are part of the work and may have their own rate."""

    role: str
    hours: Decimal
    rate: Decimal
    night_hours: Decimal = Decimal(0)
    night_rate: Decimal | None = None

    @property
    def cost(self) -> Decimal:
        night = self.rate if self.night_rate is None else self.night_rate
        return self.hours * self.rate + self.night_hours * night

    @property
    def all_hours(self) -> Decimal:
        return self.hours + self.night_hours


@dataclass(frozen=True, slots=True)
class QuotedJob:
    """A job as offered; money, percentages as written (8.25 for 8.25 %).

    Attributes:
        guests: Who are owed food.
        price_per_guest: Asked, before service charge and tax.
        per_guest: Lines that grow with the guests: sides, sauce, bread, drinks, disposables.
        fixed: Lines that do not: fuel, travel, permit and insurance share.
        minimum_order: The least that is charged before service charge and tax.
    """

    guests: int
    price_per_guest: Decimal
    per_guest: tuple[tuple[str, Decimal], ...] = ()
    fixed: tuple[tuple[str, Decimal], ...] = ()
    labour: tuple[Labour, ...] = ()
    minimum_order: Decimal = Decimal(0)
    service_pct: Decimal = Decimal(0)
    tax_pct: Decimal = Decimal(0)
    card_fee_pct: Decimal = Decimal(0)
    deposit_pct: Decimal = Decimal(0)

    @property
    def subtotal(self) -> Decimal:
        return max(self.price_per_guest * self.guests, self.minimum_order)

    @property
    def service(self) -> Decimal:
        return self.subtotal * self.service_pct / _HUNDRED

    @property
    def tax(self) -> Decimal:
        """On the food and the service charge."""
        return (self.subtotal + self.service) * self.tax_pct / _HUNDRED

    @property
    def total(self) -> Decimal:
        return self.subtotal + self.service + self.tax

    @property
    def card_fee(self) -> Decimal:
        """On all that is paid by card, tax included."""
        return self.total * self.card_fee_pct / _HUNDRED

    @property
    def deposit(self) -> Decimal:
        return self.total * self.deposit_pct / _HUNDRED

    @property
    def hours(self) -> Decimal:
        return sum((role.all_hours for role in self.labour), Decimal(0))


@dataclass(frozen=True, slots=True)
class QuoteOutcome:
    """What a job costs and earns with a given cost of meat; money."""

    meat: Decimal
    variable: Decimal
    fixed: Decimal
    labour: Decimal
    card_fee: Decimal
    profit: Decimal
    food_cost_pct: Decimal
    margin_per_guest: Decimal
    break_even: int | None
    profit_per_hour: Decimal | None


def outcome(job: QuotedJob, meat: Decimal) -> QuoteOutcome:
    """Return the outcome of a job whose meat costs ``meat``.

    Tax is passed on and earns nothing; the service charge is income.

    Raises:
        UsageError: No guests, or nothing is charged.
    """
    if job.guests < 1:
        raise UsageError("a job needs one guest or more")
    income = job.subtotal + job.service
    if income <= 0:
        raise UsageError("nothing is charged: give a price per guest or a minimum order")
    per_guest = sum((cost for _, cost in job.per_guest), Decimal(0))
    lines = per_guest * job.guests
    labour = sum((role.cost for role in job.labour), Decimal(0))
    fixed = sum((cost for _, cost in job.fixed), Decimal(0))
    profit = income - meat - lines - fixed - labour - job.card_fee
    variable = (meat + lines + job.card_fee) / job.guests
    paid = income / job.guests
    return QuoteOutcome(
        meat,
        variable,
        fixed,
        labour,
        job.card_fee,
        profit,
        (meat + lines) / job.subtotal * _HUNDRED,
        paid - variable,
        break_even_guests(fixed + labour, paid, variable) if paid > variable else None,
        profit / job.hours if job.hours else None,
    )
