"""Cooks and pieces folded from journals that were received, by the same code a node uses.

Derived and nothing more: both tables may be emptied and filled anew at will.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pitlogger.errors import UsageError
from pitlogger.formats.journal_json import load_entry
from pitlogger.hub.database import Database
from pitlogger.model.book import Book
from pitlogger.model.folding import fold
from pitlogger.model.journal import Entry
from pitlogger.yields.books import from_book
from pitlogger.yields.ledger import accounts

if TYPE_CHECKING:
    from pitlogger.hub.writing import BatchOutcome


@dataclass(frozen=True, slots=True)
class PieceSums:
    """A piece of a cook: what was bought and what could be served, where both were weighed."""

    piece: str
    cut: str
    purchased_mg: int | None
    servable_mg: int | None


def read_entries(texts: Iterable[str]) -> list[Entry]:
    """Return entries from their texts, but for kinds that this version does not know."""
    entries = []
    for text in texts:
        try:
            entries.append(load_entry(json.loads(text)))
        except UsageError:
            continue
    return entries


def book_of(texts: Iterable[str]) -> Book:
    """Return the book of a cook from the texts of its entries, in the order they were made."""
    return fold(read_entries(texts))


def pieces_of(book: Book) -> list[PieceSums]:
    """Return the pieces of a book. A piece whose weighings are in doubt keeps no masses here."""
    found = []
    for account in accounts(from_book(book)):
        is_clear = not account.doubts
        bought, served = account.purchased_g, account.servable_g
        found.append(PieceSums(
            account.record.piece, account.record.cut,
            round(bought.value * 1000) if is_clear and bought is not None else None,
            round(served.value * 1000) if is_clear and served is not None else None,
        ))  # fmt: skip
    return found


def fold_cooks(database: Database, outcome: BatchOutcome) -> None:
    """Fold anew the cooks that a batch brought entries of."""
    for node, cook in sorted(outcome.cooks):
        rows = database.ask(
            "SELECT journal.entry, journal.run, run.start_ms FROM journal"
            " JOIN run ON run.node = journal.node AND run.run = journal.run"
            " WHERE journal.node = ? AND cook = ? ORDER BY run.start_ms, seq", (node, cook),
        )  # fmt: skip
        book = book_of(text for text, _, _ in rows)
        if book.cook is None:
            continue  # its start has not come yet
        ((tenant, site),) = database.ask("SELECT tenant, site FROM node WHERE id = ?", (node,))
        head = (tenant, site, node, cook)
        with database.transaction():
            database.run(
                "INSERT INTO cook (tenant, site, node, cook, run, name, started_ms, finished_ms,"
                " entries) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (node, cook) DO UPDATE"
                " SET name = excluded.name, finished_ms = excluded.finished_ms,"
                " entries = excluded.entries",
                (*head, rows[0][1], book.cook.name, book.started_ms or 0, book.finished_ms,
                 len(rows)),
            )  # fmt: skip
            database.run("DELETE FROM piece WHERE node = ? AND cook = ?", (node, cook))
            database.many(
                "INSERT INTO piece (tenant, site, node, cook, piece, cut, purchased_mg,"
                " servable_mg) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                [(*head, sums.piece, sums.cut, sums.purchased_mg, sums.servable_mg)
                 for sums in pieces_of(book)],
            )  # fmt: skip
