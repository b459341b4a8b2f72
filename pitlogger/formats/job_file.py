"""Job files: one catering job from the enquiry to the invoice (TOML).

``pitlogger job new`` writes one from four answers; all else is optional and is filled in, marked
as assumed.
"""

from __future__ import annotations

import unicodedata
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    PlainValidator,
    TypeAdapter,
    model_validator,
)

from pitlogger.errors import UsageError
from pitlogger.formats.cook_file import CutId, Mass, Moment
from pitlogger.formats.file_table import FileTable
from pitlogger.formats.money import price_per_g
from pitlogger.formats.toml import parse_toml, read_toml
from pitlogger.model.portions import ServiceKind


def _price(value: Any) -> Decimal:
    if not isinstance(value, str):
        raise ValueError(f"{value!r} is not a price: write text such as '4.29/lb'")
    return price_per_g(value)


def _when(value: Any) -> datetime:
    """Return a time with the offset it was written with: the client reads it so."""
    at_ms = _MOMENT.validate_python(value)
    zone = (datetime.fromisoformat(value) if isinstance(value, str) else value).tzinfo
    return datetime.fromtimestamp(at_ms / 1000, zone)


_MOMENT: TypeAdapter[int] = TypeAdapter(Moment)
When = Annotated[datetime, PlainValidator(_when)]


def _version(value: Any) -> Any:
    if value != 1:
        raise ValueError("this pitlogger reads job files of version 1")
    return value


def _number(value: Any) -> Any:
    if isinstance(value, bool):
        raise ValueError("true and false are no numbers")
    return value


def _one_line(text: str) -> str:
    if any(unicodedata.category(sign) in ("Cc", "Zl", "Zp") for sign in text):
        raise ValueError("expected text of one line, without control characters")
    return text


# Beyond these no sum stands exactly in the 28 digits of a Decimal: money, and 1000 t.
MOST_MONEY, MOST_MG = 10**11, 10**12
PricePerGram = Annotated[Decimal, BeforeValidator(_price), Field(le=MOST_MONEY)]
Money = Annotated[Decimal, Field(ge=0, le=MOST_MONEY)]
Percent = Annotated[Decimal, Field(ge=0, le=100)]
Number = BeforeValidator(_number)
Guests = Annotated[int, Number, Field(ge=0, le=100_000)]
Line = Annotated[str, Field(max_length=300), AfterValidator(_one_line)]
Positive = Annotated[Mass, Field(gt=0, le=MOST_MG)]
MassFromZero = Annotated[Mass, Field(ge=0, le=MOST_MG)]


# The nine of the United States, as ``reports/allergens.py`` names them with their sources.
Allergen = Literal["milk", "egg", "fish", "crustacean shellfish", "tree nuts", "peanuts", "wheat",
                   "soybeans", "sesame"]  # fmt: skip


class JobTable(FileTable):
    name: Line = ""
    client: str = ""
    place: str = ""
    serve_at: When | None = None
    guests: Annotated[int, Number, Field(ge=1, le=100_000)]
    children: Guests = 0
    child_share_pct: Percent = Decimal(50)
    show_rate_pct: Annotated[Percent, Field(gt=0)] | None = None
    service: ServiceKind = "buffet"
    sides: Annotated[int, Number, Field(ge=0, le=50)] | None = None
    portion: Positive | None = None
    portion_sd: MassFromZero | None = None
    leave: MassFromZero = 0
    paid: bool = False
    risk_pct: Annotated[float, Number, Field(gt=0, le=99)] | None = None
    price_per_guest: Money | None = None
    currency: Line = ""
    valid_until: date | None = None
    guarantee: Guests | None = None
    guarantee_by: date | None = None
    balance_by: date | None = None
    minimum_order: Money = Decimal(0)
    discount: Money = Decimal(0)
    discount_pct: Percent = Decimal(0)
    service_pct: Percent = Decimal(0)
    service_taxable: bool = True
    gratuity_pct: Percent = Decimal(0)
    tax_pct: Percent = Decimal(0)
    tax_rounding: Literal["line", "total"] = "total"
    tax_exemption: Line = ""
    card_fee_pct: Percent = Decimal(0)
    deposit_pct: Percent = Decimal(0)
    allergens: tuple[Allergen, ...] = ()
    terms: tuple[str, ...] = ()
    cancelled: bool = False
    cook: Line = ""
    cooks: tuple[str, ...] = ()


class SittingTable(FileTable):
    at: When
    place: Line = ""
    guests: Guests | None = None
    drive_min: Annotated[float, Number, Field(ge=0, le=10_080)] = 0.0
    setup_min: Annotated[float, Number, Field(ge=0, le=10_080)] = 0.0


class BreakTable(FileTable):
    from_mass: Positive
    price: PricePerGram


class OtherCut(FileTable):
    cut: CutId
    price: PricePerGram


class MeatTable(FileTable):
    cut: CutId
    name: Line = ""
    price: PricePerGram | None = None
    share_pct: Annotated[Percent, Field(gt=0)] = Decimal(100)
    portion: Positive | None = None
    supplier: Line = ""
    grade: Line = ""
    piece_from: Positive | None = None
    piece_to: Positive | None = None
    case_pieces: Annotated[int, Number, Field(ge=1, le=1000)] = 1
    case_mass: Positive | None = None
    at_least: MassFromZero = 0
    round_to: Positive | None = None
    breaks: tuple[BreakTable, ...] = ()
    arrived: tuple[Positive, ...] = ()
    or_else: tuple[OtherCut, ...] = ()

    @model_validator(mode="after")
    def _range_is_one(self) -> MeatTable:
        if (self.piece_from is None) != (self.piece_to is None):
            raise ValueError("piece_from and piece_to go together: a piece of 12 to 13 lb")
        if self.piece_from and self.piece_to and self.piece_from > self.piece_to:
            raise ValueError("piece_from is above piece_to")
        return self


class LineTable(FileTable):
    what: Line
    cost: Money
    kind: Literal["food", "disposables", "other"] = "food"


class FixedTable(FileTable):
    what: Line
    cost: Money


class ChargeTable(FileTable):
    what: Line
    price: Money
    count: Annotated[Decimal, Field(gt=0, le=1_000_000)] = Decimal(1)
    taxable: bool = True


class ByWeightTable(FileTable):
    """Something sold by its net weight; ``scale`` names the legal-for-trade scale."""

    what: Line
    mass: Positive
    price: PricePerGram
    scale: Line = ""
    taxable: bool = True


class TierTable(FileTable):
    what: Line
    guests: Guests
    price: Money


class FuelTable(FileTable):
    price: PricePerGram
    mass: MassFromZero | None = None
    mass_per_h: MassFromZero | None = None


class LabourTable(FileTable):
    role: Line
    hours: Money = Decimal(0)
    rate: Money
    night_hours: Money = Decimal(0)
    night_rate: Money | None = None
    burden_pct: Percent = Decimal(0)
    does: tuple[Literal["prep", "pit", "serve"], ...] = ()


class CreditTable(FileTable):
    what: Line
    mass: MassFromZero
    price: PricePerGram
    is_leftover: bool = False
    cooling_met: bool = False


class ShortageTable(FileTable):
    refund: Money = Decimal(0)
    good_name: Money = Decimal(0)
    bought_in: PricePerGram | None = None


class PaymentTable(FileTable):
    on: date
    amount: Annotated[Decimal, Field(ge=-MOST_MONEY, le=MOST_MONEY)]
    method: Line = ""


class ActualTable(FileTable):
    guests: Guests
    income: Money | None = None
    meat_cost: Money
    other_cost: Money = Decimal(0)
    served: MassFromZero | None = None
    left: MassFromZero | None = None


class JobFile(FileTable):
    """A whole job file."""

    version: Annotated[Literal[1], BeforeValidator(_version)] = 1
    job: JobTable
    meat: tuple[MeatTable, ...] = ()
    sitting: tuple[SittingTable, ...] = ()
    tier: tuple[TierTable, ...] = ()
    charge: tuple[ChargeTable, ...] = ()
    by_weight: tuple[ByWeightTable, ...] = ()
    per_guest: tuple[LineTable, ...] = ()
    fixed: tuple[FixedTable, ...] = ()
    fuel: FuelTable | None = None
    labour: tuple[LabourTable, ...] = ()
    credit: tuple[CreditTable, ...] = ()
    shortage: ShortageTable | None = None
    payment: tuple[PaymentTable, ...] = ()
    pits: dict[str, Annotated[float, Number, Field(gt=0, allow_inf_nan=False)]] = Field(
        default_factory=dict
    )
    actual: ActualTable | None = None

    @model_validator(mode="after")
    def _shares_and_sittings(self) -> JobFile:
        if not self.meat:
            raise ValueError("a job needs a [[meat]]: what is served")
        if (shares := sum(meat.share_pct for meat in self.meat)) != 100:
            raise ValueError(
                f"the meats' share_pct come to {shares:f}, expected 100; where people take more of "
                "several meats, raise job.portion"
            )
        if len({meat.cut for meat in self.meat}) < len(self.meat):
            raise ValueError("a cut is named twice; add its shares")
        if self.sitting and self.job.serve_at is not None:
            raise ValueError("serve_at is the short form of one [[sitting]]: leave one of them out")
        told = [sitting.guests for sitting in self.sitting if sitting.guests is not None]
        if told and len(told) == len(self.sitting) and sum(told) != self.job.guests:
            raise ValueError(
                f"the sittings' guests come to {sum(told)}, the job's are {self.job.guests}"
            )
        if self.tier and sum(t.guests for t in self.tier) != self.job.guests + self.job.children:
            raise ValueError("the tiers' guests do not come to the job's guests and children")
        return self


def load_job(path: Path) -> JobFile:
    """Return the job file at ``path``.

    Raises:
        UsageError: Missing file, unknown key, wrong value; starts with ``file:line``.
    """
    return read_toml(path, JobFile, UsageError)


def parse_job(text: str, name: str = "job") -> JobFile:
    """Return a job from the text of a file.

    Raises:
        UsageError: Unknown key, wrong value; starts with ``name:line``.
    """
    return parse_toml(text, JobFile, UsageError, name)
