"""Is the meat enough? Asked of each weighing from the wrap on, against the guests of the cook.

A piece that was never weighed counts by the mass its cook file gives; where a piece has
neither, nothing is said. The kitchen's earlier cooks stay out of it: what an alert says must
come from the cook's own record, so that its replay says the same.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pitlogger.engine.annunciator import Annunciator
from pitlogger.model.book import Book, CookSpan
from pitlogger.model.cooks import Checkpoint, Cook, Stage
from pitlogger.model.journal import Body, Corrected, Undone, Weighed
from pitlogger.model.kitchen import KitchenTimes
from pitlogger.model.quantities import show_mass, show_share

if TYPE_CHECKING:
    from pitlogger.yields.records import PastPiece

JUDGED_AT = frozenset(
    {
        Checkpoint.AT_WRAP, Checkpoint.UNWRAPPED, Checkpoint.OFF_PIT, Checkpoint.RESTED,
        Checkpoint.OUT_OF_HOLD, Checkpoint.CARVED,
    }
)  # fmt: skip
# Baked ham as a main dish, 4 oz a person: Univ. of Illinois Cooperative Extension crowd table.
PORTION_G = 113.4
LEAST_CHANCE = 0.8  # ours; under it somebody had better do something
RISK = 1.0 - LEAST_CHANCE
REMEDIES_TOLD = 3
LEAST_HELP = 0.05


def judge_enough(
    book: Book, alerts: Annunciator, body: Body, t_ms: int, mass_unit: str
) -> None:  # fmt: skip
    """Judge whether the meat will do, where a weighing was entered, corrected or undone."""
    for cook, span in book.open_cooks().items():
        own = book.only(cook)
        told = f"short-of-meat/{span.subject}" in alerts.watches
        weighed = (
            isinstance(body, Weighed)
            and (body.checkpoint in JUDGED_AT or bool(body.reason))
            and body.piece in own.pieces
        )
        if weighed or (told and isinstance(body, Corrected | Undone)):
            _judge(own, span, alerts, t_ms, mass_unit)


def _judge(book: Book, span: CookSpan, alerts: Annunciator, t_ms: int, mass_unit: str) -> None:
    guests = guests_of(span.cook)
    pieces = weighed_pieces(book)
    if not guests or not pieces:
        return
    from pitlogger.yields.purchase.demand import Party, demand
    from pitlogger.yields.purchase.running_short import running_short

    given_mg = span.cook.portion_mg
    portion_g = PORTION_G if given_mg is None else given_mg / 1000
    wanted = demand((Party(guests, portion_g),))
    light_by = "" if _may_light(book, t_ms, alerts.policy.kitchen) else None
    found = running_short(pieces, wanted, risk=RISK, light_by=light_by)
    each = show_mass(portion_g * 1000, mass_unit)
    words = (
        f"{show_share(found.p_enough)} likely to do for {guests} guests at {each} each, "
        f"about {show_mass(found.short_g * 1000, mass_unit)} of served meat short"
    )
    helps = [
        f"{remedy.message} ({show_share(remedy.p_enough)})"
        for remedy in found.remedies[:REMEDIES_TOLD]
        if remedy.p_enough >= LEAST_HELP
    ]
    alerts.tell(
        "short-of-meat", span.subject, t_ms, found.p_enough < LEAST_CHANCE, words,
        f"What still helps, each by itself: {'; '.join(helps)}." if helps else "",
    )  # fmt: skip


def guests_of(cook: Cook) -> int:
    """Return for how many the cook is: at all its services, else as it says itself."""
    return sum(service.guests or 0 for service in cook.services) or cook.guests or 0


def weighed_pieces(book: Book) -> list[PastPiece]:
    """Return the pieces with their masses; none where one of them has no mass at all."""
    from pitlogger.yields.books import from_book
    from pitlogger.yields.weighing.uncertainty import Measured

    found = []
    for record in from_book(book):
        held = book.pieces[record.piece]
        if held.stage is Stage.DISCARDED:
            continue
        mass_mg = held.piece.mass_mg
        if not record.masses and not record.parents:
            if mass_mg is None:
                return []
            planned = {Checkpoint.PURCHASED.value: Measured(mass_mg / 1000)}
            found.append(replace(record, masses=planned))
        else:
            found.append(_without_drops(record))
    return found


def _without_drops(record: PastPiece) -> PastPiece:
    """Return a piece as it is left where a part was thrown away after it was weighed last."""
    from pitlogger.yields.causes import CHAIN
    from pitlogger.yields.ledger import dropped_after_g
    from pitlogger.yields.weighing.uncertainty import Measured

    last = next((one for one in reversed(CHAIN) if one in record.masses), None)
    lost_g = 0.0 if last is None else dropped_after_g(record, last)
    if last is None or not lost_g:
        return record
    left = record.masses[last] - Measured(min(lost_g, record.masses[last].value))
    return replace(record, masses={**record.masses, last: left})


def _may_light(book: Book, t_ms: int, kitchen: KitchenTimes) -> bool:
    """Return whether another piece could still be cooked for the last service."""
    from pitlogger.yields.timing.schedule import Sitting, latest_load_ms

    if book.cook is None or not book.cook.services:
        return True
    last = max(book.cook.services, key=lambda service: service.at_ms)
    sitting = Sitting(last.at_ms, last.place, last.drive_min, last.setup_min)
    cut = next(iter(book.pieces.values())).piece.cut
    return t_ms < latest_load_ms(cut, sitting, kitchen)
