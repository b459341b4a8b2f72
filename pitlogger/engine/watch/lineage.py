"""The history of a piece by the minutes kept of it, after that of the whole it was cut from."""

from __future__ import annotations

from pitlogger.engine.state import EngineState
from pitlogger.model.book import Book
from pitlogger.model.readings import Quality, Site, Tagged
from pitlogger.safety.history import PieceHistory
from pitlogger.safety.recorded import histories


def lineage_of(state: EngineState, book: Book, piece: str) -> list[PieceHistory]:
    """Return the histories of a piece, the oldest first, its own last; none of an unknown one.

    What was put together of several has no one past.
    """
    readings = sorted(
        (
            Tagged(channel.id, t_ms, mc, mc, Quality.GOOD, Site.CORE, None)
            for channel in state.channels.values()
            for t_ms, mc in zip(channel.minutes_ms, channel.minutes_mc, strict=True)
        ),
        key=lambda tagged: tagged.t_ms,
    )
    of_cook = histories(book.only(book.pieces[piece].cook), readings)
    found = {history.piece: history for history in of_cook}
    line: list[PieceHistory] = []
    while piece in found:
        line.insert(0, found[piece])
        parents = found[piece].parents
        piece = parents[0] if len(parents) == 1 else ""
    return line


def history_of(state: EngineState, book: Book, piece: str) -> PieceHistory | None:
    """Return the history of a piece by itself."""
    return next(reversed(lineage_of(state, book, piece)), None)
