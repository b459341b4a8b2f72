"""The quote sheet for a client: what is served to how many, for what, until when it holds.

Costs and margins are not on it. Sums are worked out by ``yields.quote``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal

from pitlogger import __version__
from pitlogger.reports.allergens import contains
from pitlogger.reports.sheet import CAUTIONS, Block, Facts, Heading, Lines, Sheet, Table
from pitlogger.yields.money.quote import Job

LEFTOVERS = (
    "Leftovers stay with us unless agreed beforehand. What is handed over is labelled with what"
    " it contains and until when it may be used; from then on it is the client's to keep hot,"
    " keep cold or throw away."
)
_CENT = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class Offer:
    """What the client reads beside the figures.

    Attributes:
        menu: What is served, a line each.
        guarantee_by: Until when the number of guests may change.
        allergens: Of the nine major ones.
    """

    name: str
    menu: tuple[str, ...]
    portion: str
    currency: str
    firm: str = ""
    client: str = ""
    place: str = ""
    serve_at: str = ""
    guarantee_by: date | None = None
    valid_until: date | None = None
    allergens: tuple[str, ...] = ()
    leftovers: str = LEFTOVERS


def quote_sheet(offer: Offer, job: Job) -> Sheet:
    """Return the sheet of an offer."""
    blocks: list[Block] = [
        Facts(tuple(_facts(offer, job))),
        Heading("Menu"),
        Lines(offer.menu or ("to be agreed",)),
        Lines((contains(offer.allergens), "Tell us of any allergy before the guarantee date.")),
        Heading("Price"),
        Table(("", offer.currency or "amount"), tuple(_sums(job)), numbers=frozenset({1})),
        Heading("Terms"),
        Lines(tuple(_terms(offer))),
        Table(("for the client: name, date, signature", "for us"), (), blank=1),
    ]
    return Sheet(
        title=f"Quote: {offer.name or 'catering'}",
        about=", ".join(part for part in (offer.firm, offer.place, offer.serve_at) if part),
        blocks=tuple(blocks),
        cautions=CAUTIONS[1:],
        made=f"Made by pitlogger {__version__}.",
    )


def _facts(offer: Offer, job: Job) -> Iterator[tuple[str, str]]:
    if offer.client:
        yield "For", offer.client
    yield "Guests", str(job.guests)
    yield "Portion", f"{offer.portion} of cooked meat a guest"
    if offer.valid_until is not None:
        yield "Valid until", f"{offer.valid_until:%Y-%m-%d}"


def _sums(job: Job) -> Iterator[tuple[str, str]]:
    yield f"{job.guests} guests at {_money(job.price_per_guest)}", _money(job.subtotal)
    if job.subtotal == job.minimum_order and job.minimum_order:
        yield "of which the minimum order", _money(job.minimum_order)
    if job.service:
        yield f"Service charge {job.service_pct.normalize():f} %", _money(job.service)
    if job.tax:
        yield f"Tax {job.tax_pct.normalize():f} % on food and service", _money(job.tax)
    yield "Total", _money(job.total)
    if job.deposit:
        yield f"Deposit {job.deposit_pct.normalize():f} %, due on booking", _money(job.deposit)


def _money(value: Decimal) -> str:
    return f"{value.quantize(_CENT, ROUND_HALF_EVEN):,}"


def _terms(offer: Offer) -> Iterator[str]:
    if offer.guarantee_by is not None:
        yield (
            f"The number of guests is guaranteed by {offer.guarantee_by:%Y-%m-%d}; after that it"
            " may rise if we can, and is charged if it falls."
        )
    yield f"Leftovers: {offer.leftovers}"
