"""Cooks and pieces folded from journals that were received, by the same code a node uses.

Derived and nothing more: both tables may be emptied and filled anew at will.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from typing import TYPE_CHECKING

from pitlogger.errors import HubFullError, UsageError
from pitlogger.formats.journal_json import load_entry
from pitlogger.hub.database import Database, Row
from pitlogger.model.book import Book
from pitlogger.model.folding import fold
from pitlogger.model.journal import Entry
from pitlogger.yields.books import from_book
from pitlogger.yields.ledger import accounts

if TYPE_CHECKING:
    from pitlogger.hub.writing import BatchOutcome

log = logging.getLogger(__name__)

# Kinds that change no mass and no span of a cook: most of what a node sends, and no cause to fold
# a long cook anew with each bundle.
BESIDE = frozenset((
    "alert-acted", "alert-changed", "device-changed", "doubted", "forecast-made",
    "forecast-scored", "forecast-skipped", "forecast-taught", "noted", "spot-read",
    "trouble-changed",
))  # fmt: skip
_OF = {"tenant": "integer", "site": "integer", "node": "integer", "cook": "text"}
_COOK = _OF | {
    "run": "text", "name": "text", "started_ms": "bigint", "finished_ms": "bigint",
    "entries": "integer",
}  # fmt: skip
_PIECE = _OF | {"piece": "text", "cut": "text", "purchased_mg": "bigint", "servable_mg": "bigint"}
_ANEW = (
    "WHERE true ON CONFLICT (node, cook) DO UPDATE SET name = excluded.name,"
    " finished_ms = excluded.finished_ms, entries = excluded.entries"
)


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
    """Fold anew the cooks that a batch brought entries of; one that cannot be is alone in that."""
    _fold_some(database, sorted(outcome.cooks))


def _fold_some(database: Database, cooks: Sequence[tuple[int, str]]) -> None:
    if not cooks:
        return
    try:
        _fold(database, cooks)
    except Exception as fault:
        if isinstance(fault, (HubFullError, *database.failing)) and not isinstance(
            fault, database.broken
        ):
            raise
        if len(cooks) == 1:
            log.exception("cook %s of node %d cannot be folded", cooks[0][1], cooks[0][0])
            return
        middle = len(cooks) // 2
        _fold_some(database, cooks[:middle])
        _fold_some(database, cooks[middle:])


def _fold(database: Database, asked: Sequence[tuple[int, str]]) -> None:
    given, values = database.given({"node": "integer", "cook": "text"}, asked)
    rows = database.ask(
        f"{given} SELECT node.tenant, node.site, journal.node, journal.cook, journal.run, entry"
        " FROM given JOIN node ON node.id = given.node"
        " JOIN journal ON journal.node = given.node AND journal.cook = given.cook"
        " JOIN run ON run.node = journal.node AND run.run = journal.run"
        f" WHERE kind NOT IN ({', '.join('?' * len(BESIDE))})"
        " ORDER BY journal.node, journal.cook, run.start_ms, seq", (*values, *BESIDE),
    )  # fmt: skip
    cooks: list[Row] = []
    pieces: list[Row] = []
    for head, group in groupby(rows, key=itemgetter(0, 1, 2, 3)):
        told = list(group)
        book = book_of(row[-1] for row in told)
        if book.cook is None:
            continue  # its start has not come yet
        cooks.append((*head, told[0][4], book.cook.name, book.started_ms or 0, book.finished_ms,
                      len(told)))  # fmt: skip
        pieces += [
            (*head, sums.piece, sums.cut, sums.purchased_mg, sums.servable_mg)
            for sums in pieces_of(book)
        ]
    if not cooks:
        return
    keys, known = database.given({"node": "integer", "cook": "text"}, [row[2:4] for row in cooks])
    with database.transaction():
        _put(database, "cook", _COOK, cooks, _ANEW)
        database.run(
            f"{keys} DELETE FROM piece WHERE (node, cook) IN (SELECT node, cook FROM given)", known
        )
        _put(database, "piece", _PIECE, pieces)


def _put(
    database: Database, table: str, columns: Mapping[str, str], rows: Sequence[Row], more: str = ""
) -> None:
    """Insert rows by one statement."""
    if rows:
        given, values = database.given(columns, rows)
        names = ", ".join(columns)
        database.run(
            f"{given} INSERT INTO {table} ({names}) SELECT {names} FROM given {more}", values
        )
