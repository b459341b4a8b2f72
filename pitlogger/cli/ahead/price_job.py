"""The quote of `pitlogger price --job`: low, middle and high yield and meat price."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from functools import partial
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pitlogger.cli.ahead.history import load_history
from pitlogger.cli.output import table
from pitlogger.errors import UsageError
from pitlogger.formats.job_file import JobFile, load_job
from pitlogger.formats.money import rounded
from pitlogger.yields.learned.servable import Learned, learn, observations
from pitlogger.yields.money.quote import Job, Labour, Outcome, outcome

if TYPE_CHECKING:
    from pitlogger.formats.job_file import MeatTable

Coin = Callable[[Decimal], Decimal]  # money rounded to the smallest unit of the currency
_LEVELS = {"p10": 0.1, "p50": 0.5, "p90": 0.9}


def job_document(job_file: Path, history_file: Path | None) -> dict[str, Any]:
    """Return the quote of a job file."""
    source = load_job(job_file)
    past, notes = load_history(history_file)
    observed = observations(past.pieces())
    learned = {meat.cut: learn(meat.cut, observed) for meat in source.meat}
    notes += [
        f"n = 0: no own cook of {cut} yet; its yield is a prior alone ({known.source})."
        for cut, known in learned.items()
        if known.n == 0
    ]
    if sum(meat.share_pct for meat in source.meat) < 100:
        raise UsageError(f"{job_file}: the meats' share_pct come to less than 100")
    job = read_job(source)
    coin = partial(rounded, currency=source.job.currency)
    scenarios = [
        {
            "yield": at,
            "meat_price": price,
            **_outcome(outcome(job, _meat(source, learned, at, price)), coin),
        }
        for at, price in product(_LEVELS, _LEVELS)
    ]
    return {
        "job": source.job.name,
        "currency": source.job.currency,
        "guests": job.guests,
        "valid_until": source.job.valid_until.isoformat() if source.job.valid_until else None,
        "subtotal": coin(job.subtotal),
        "service": coin(job.service),
        "tax": coin(job.tax),
        "total": coin(job.total),
        "deposit": coin(job.deposit),
        "labour_hours": job.hours,
        "scenarios": scenarios,
        "actual": _actual(source, job, coin),
        "notes": notes,
    }


def read_job(source: JobFile) -> Job:
    """Return the job that a job file describes; fuel is a fixed line by its mass."""
    fixed = [(line.what, line.cost) for line in source.fixed]
    if source.fuel is not None:
        fixed.append(("fuel", Decimal(source.fuel.mass) / 1000 * source.fuel.price))
    of = source.job
    return Job(
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


def _meat(source: JobFile, learned: dict[str, Learned], at: str, price: str) -> Decimal:
    """Return the cost of the raw meat for everybody's portion."""
    total = Decimal(0)
    for meat in source.meat:
        served_g = Decimal(source.job.portion) / 1000 * source.job.guests * meat.share_pct / 100
        share = Decimal(repr(learned[meat.cut].quantile(_LEVELS[at])))
        total += served_g / share * _price_at(meat, price)
    return total


def _price_at(meat: MeatTable, price: str) -> Decimal:
    asked = {"p10": meat.price_low, "p50": meat.price, "p90": meat.price_high}[price]
    return meat.price if asked is None else asked


def _outcome(found: Outcome, coin: Coin) -> dict[str, Any]:
    return {
        "meat": coin(found.meat),
        "fixed": coin(found.fixed),
        "labour": coin(found.labour),
        "card_fee": coin(found.card_fee),
        "profit": coin(found.profit),
        "food_cost_pct": round(found.food_cost_pct, 2),
        "margin_per_guest": coin(found.margin_per_guest),
        "break_even_guests": found.break_even,
        "profit_per_hour": (None if found.profit_per_hour is None else coin(found.profit_per_hour)),
    }


def _actual(source: JobFile, job: Job, coin: Coin) -> dict[str, Any] | None:
    """Return the profit after the fact, against all that was spent."""
    if source.actual is None:
        return None
    labour = sum((role.cost for role in job.labour), Decimal(0))
    spent = source.actual.meat_cost + source.actual.other_cost + labour
    profit = source.actual.income - spent
    return {
        "guests": source.actual.guests,
        "income": coin(source.actual.income),
        "spent": coin(spent),
        "profit": coin(profit),
        "profit_per_hour": coin(profit / job.hours) if job.hours else None,
    }


def job_text(document: dict[str, Any]) -> str:
    """Return the quote for people."""
    until = f", valid until {document['valid_until']}" if document["valid_until"] else ""
    head = (
        f"{document['job'] or 'Job'}: {document['guests']} guests, total {document['total']} "
        f"{document['currency']} (tax {document['tax']}, service {document['service']}, "
        f"deposit {document['deposit']}){until}"
    )
    rows = [
        [s["yield"], s["meat_price"], str(s["meat"]), str(s["profit"]),
         "never" if s["break_even_guests"] is None else str(s["break_even_guests"])]
        for s in document["scenarios"]
    ]  # fmt: skip
    parts = [head, table(rows, ["yield", "meat price", "meat", "profit", "break-even guests"])]
    if document["actual"]:
        parts.append(f"Earned after the fact: {document['actual']['profit']}")
    return "\n\n".join([*parts, *(f"- {note}" for note in document["notes"])])
