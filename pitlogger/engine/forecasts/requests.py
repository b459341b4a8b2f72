"""Which forecasts are to be asked now."""

from __future__ import annotations

from collections.abc import Mapping

from pitlogger.engine.compiled import Compiled
from pitlogger.engine.inputs import ForecastRequest
from pitlogger.model.book import Book
from pitlogger.rules.conditions import Watch
from pitlogger.rules.targets import targets_ahead

FORECAST_LAG_MS = 30_000


def requests_due(
    book: Book, compiled: Compiled, watches: Mapping[str, Watch], t_ms: int
) -> list[ForecastRequest]:
    """Return a request for each target of each piece that lies ahead; they are due in 30 s."""
    return [
        ForecastRequest(piece, target, t_ms, t_ms + FORECAST_LAG_MS)
        for piece in book.pieces
        for target in targets_ahead(book, piece, compiled.pieces[piece], watches)
    ]
