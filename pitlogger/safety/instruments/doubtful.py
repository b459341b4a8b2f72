"""Rows of the food log that rest on an instrument which failed its check.

All it read since its last good check is in doubt, or since the record began where there was
none. The row stays as it was; a note says so.
Source: FDA Food Code 4-502.11(B); 9 CFR 417.5(a)(2): verification and its results.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from pitlogger.clock import rfc3339
from pitlogger.model.book import Book
from pitlogger.model.journal import CheckMade, Entry
from pitlogger.safety.instruments.checks import suspect_span
from pitlogger.safety.record import LogRow


def doubted(rows: Sequence[LogRow], book: Book, entries: Iterable[Entry]) -> list[LogRow]:
    """Return the rows, each that rests on a failed instrument with a note that says so."""
    failed = list(_failed(entries))
    return [_noted(row, book, failed) for row in rows]


Span = tuple[str, int | None, int]  # instrument, last good check, failed check


def _failed(entries: Iterable[Entry]) -> Iterator[Span]:
    """Yield each failed check with the good one before it."""
    made = {
        (entry.run, entry.seq): (entry.t_ms, entry.body)
        for entry in entries
        if isinstance(entry.body, CheckMade)
    }
    held: dict[str, list[tuple[int, bool]]] = {}
    for t_ms, body in sorted(made.values(), key=lambda pair: pair[0]):
        checks = held.setdefault(body.instrument, [])
        checks.append((t_ms, body.within))
        if (span := suspect_span(checks)) is not None:
            yield body.instrument, *span


def _noted(row: LogRow, book: Book, failed: Sequence[Span]) -> LogRow:
    for instrument, since_ms, failed_ms in failed:
        if _rests_on(row, book, instrument, since_ms, failed_ms):
            last = "no good check before" if since_ms is None else f"last good {rfc3339(since_ms)}"
            note = f"in doubt: {instrument} failed its check at {rfc3339(failed_ms)}, {last}"
            return replace(row, note="; ".join(part for part in (row.note, note) if part))
    return row


def _rests_on(
    row: LogRow, book: Book, instrument: str, since_ms: int | None, failed_ms: int
) -> bool:
    if row.id is not None:
        is_its_own = row.sheet == "thermometers"
        return (
            not is_its_own
            and row.instrument == instrument
            and (since_ms or 0) <= row.observed_ms <= failed_ms
        )
    if not row.piece or instrument not in book.channels_of(row.piece):
        return False
    started_ms = book.started_ms or 0
    return started_ms <= failed_ms and (since_ms or 0) <= row.observed_ms
