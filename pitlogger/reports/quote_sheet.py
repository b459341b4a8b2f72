"""The quote sheet for a client: what is served to how many, for what, until when it holds.

Costs and margins are not on it. Sums are worked out by ``yields.quote``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal

from pitlogger import __version__
from pitlogger.reports.allergens import named_so_far
from pitlogger.reports.sheet import CAUTIONS, Block, Facts, Heading, Lines, Sheet, Table
from pitlogger.views.language import figure, mark, tr
from pitlogger.yields.money.quote import QuotedJob

LEFTOVERS = mark(
    "Leftovers stay with us unless agreed beforehand. What is handed over is labelled with what "
    "it contains and until when it may be used; from then on it is the client's to keep hot, "
    "keep cold or throw away."
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


def quote_sheet(offer: Offer, job: QuotedJob) -> Sheet:
    """Return the sheet of an offer."""
    blocks: list[Block] = [
        Facts(tuple(_facts(offer, job))),
        Heading(tr("Menu")),
        Lines(offer.menu or (tr("to be agreed"),)),
        Lines(
            (named_so_far(offer.allergens), tr("Tell us of any allergy before the guarantee date."))
        ),
        Heading(tr("Price")),
        Table(("", offer.currency or "amount"), tuple(_sums(job)), numbers=frozenset({1})),
        Heading(tr("Terms")),
        Lines(tuple(_terms(offer))),
        Table((tr("for the client: name, date, signature"), tr("for us")), (), blank=1),
    ]
    return Sheet(
        title=tr("Quote: {name}", name=offer.name or tr("catering")),
        about=", ".join(part for part in (offer.firm, offer.place, offer.serve_at) if part),
        blocks=tuple(blocks),
        cautions=CAUTIONS[1:],
        made=tr("Made by pitlogger {version}.", version=__version__),
    )


def _facts(offer: Offer, job: QuotedJob) -> Iterator[tuple[str, str]]:
    if offer.client:
        yield tr("For"), offer.client
    yield tr("Guests"), str(job.guests)
    yield tr("Portion"), tr("{portion} of cooked meat a guest", portion=offer.portion)
    if offer.valid_until is not None:
        yield tr("Valid until"), f"{offer.valid_until:%Y-%m-%d}"


def _sums(job: QuotedJob) -> Iterator[tuple[str, str]]:
    yield (
        tr("{guests} guests at {money}", guests=job.guests, money=_money(job.price_per_guest)),
        _money(job.subtotal),
    )
    if job.subtotal == job.minimum_order and job.minimum_order:
        yield tr("of which the minimum order"), _money(job.minimum_order)
    if job.service:
        yield (
            tr("Service charge {percent} %", percent=figure(f"{job.service_pct.normalize():f}")),
            _money(job.service),
        )
    if job.tax:
        yield (
            tr(
                "Tax {percent} % on food and service",
                percent=figure(f"{job.tax_pct.normalize():f}"),
            ),
            _money(job.tax),
        )
    yield tr("Total"), _money(job.total)
    if job.deposit:
        yield (
            tr(
                "Deposit {percent} %, due on booking",
                percent=figure(f"{job.deposit_pct.normalize():f}"),
            ),
            _money(job.deposit),
        )


def _money(value: Decimal) -> str:
    return f"{value.quantize(_CENT, ROUND_HALF_EVEN):,}"


def _terms(offer: Offer) -> Iterator[str]:
    if offer.guarantee_by is not None:
        yield (
            tr(
                "The number of guests is guaranteed by {guarantee_by}; after that it may rise if"
                " we can, and is charged if it falls.",
                guarantee_by=f"{offer.guarantee_by:%Y-%m-%d}",
            )
        )
    yield tr("Leftovers: {leftovers}", leftovers=tr(offer.leftovers))
