"""What looks wrong with the weighings of a running cook."""

from __future__ import annotations

from typing import Any

from pitlogger.model.book import Book
from pitlogger.yields.books import from_book
from pitlogger.yields.document import doubt_document
from pitlogger.yields.ledger import accounts


def doubts_of(book: Book, piece: str) -> list[dict[str, Any]]:
    """Return what looks wrong with the weighings of a piece: asked, never refused."""
    records = [record for record in from_book(book) if record.piece == piece]
    return [doubt_document(doubt) for account in accounts(records) for doubt in account.doubts]
