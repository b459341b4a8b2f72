"""Job files: what a paid job is quoted on (TOML).

[job]
name = "harvest supper"
guests = 45
price_per_guest = 24.00
portion = "5 oz"
currency = "USD"                    # all below is optional
valid_until = 2026-09-30
minimum_order = 600
service_pct = 15
tax_pct = 8.25                      # on food and service
card_fee_pct = 2.9                  # on all that is paid by card
deposit_pct = 30
[[meat]]
cut = "brisket-packer"
price = "4.29/lb"
price_low = "3.89/lb"               # p10 and p90 of what it may cost by then
price_high = "4.99/lb"
share_pct = 100                     # of the meal, where several meats are served
[[per_guest]]
what = "two sides"
cost = 3.10
[[fixed]]
what = "permit and insurance share"
cost = 85
[fuel]
mass = "18 kg"
price = "1.10/kg"
[[labour]]
role = "pit"
hours = 6
rate = 22
night_hours = 8
night_rate = 26
[actual]                            # after the fact
guests = 41
income = 1105.20
meat_cost = 240.24
other_cost = 512.00
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from pitlogger.errors import UsageError
from pitlogger.formats.cook_file import CutId, Mass
from pitlogger.formats.money import price_per_g
from pitlogger.formats.toml import read_toml


def _price(value: Any) -> Decimal:
    if not isinstance(value, str):
        raise ValueError(f"{value!r} is not a price: write text such as '4.29/lb'")
    return price_per_g(value)


PricePerGram = Annotated[Decimal, BeforeValidator(_price)]
Money = Annotated[Decimal, Field(ge=0)]
Percent = Annotated[Decimal, Field(ge=0, le=100)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class JobTable(_Table):
    name: str = ""
    guests: int = Field(ge=1)
    price_per_guest: Money
    portion: Mass
    currency: str = ""
    valid_until: date | None = None
    minimum_order: Money = Decimal(0)
    service_pct: Percent = Decimal(0)
    tax_pct: Percent = Decimal(0)
    card_fee_pct: Percent = Decimal(0)
    deposit_pct: Percent = Decimal(0)


class MeatTable(_Table):
    cut: CutId
    price: PricePerGram
    price_low: PricePerGram | None = None
    price_high: PricePerGram | None = None
    share_pct: Percent = Decimal(100)


class LineTable(_Table):
    what: str
    cost: Money


class FuelTable(_Table):
    mass: Mass
    price: PricePerGram


class LabourTable(_Table):
    role: str
    hours: Money = Decimal(0)
    rate: Money
    night_hours: Money = Decimal(0)
    night_rate: Money | None = None


class ActualTable(_Table):
    guests: int = Field(ge=0)
    income: Money
    meat_cost: Money
    other_cost: Money = Decimal(0)


class JobFile(_Table):
    """A whole job file."""

    job: JobTable
    meat: tuple[MeatTable, ...] = Field(min_length=1)
    per_guest: tuple[LineTable, ...] = ()
    fixed: tuple[LineTable, ...] = ()
    fuel: FuelTable | None = None
    labour: tuple[LabourTable, ...] = ()
    actual: ActualTable | None = None


def load_job(path: Path) -> JobFile:
    """Return the job file at ``path``.

    Raises:
        UsageError: Missing file, unknown key, wrong value; starts with ``file:line``.
    """
    return read_toml(path, JobFile, UsageError)
