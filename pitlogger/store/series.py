"""Readings out of packed and tail rows, in order of time."""

from __future__ import annotations

import logging
import sqlite3
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from operator import itemgetter
from typing import NamedTuple

from pitlogger.errors import StoreError
from pitlogger.store.packing import Columns, meaning, unpack, unpack_tail
from pitlogger.store.rows import StoredReading
from pitlogger.store.schema import BLOCK_MS
from pitlogger.store.spans import block_of, blocks

log = logging.getLogger(__name__)

_FOR_EVER = 1 << 62
_MARGIN_MS = BLOCK_MS  # a run may hold records from shortly before its row was written


class RunWindow(NamedTuple):
    """A stretch of one run in engine milliseconds, within which UTC = t_ms + offset_ms."""

    run: int
    name: str
    from_ms: int
    to_ms: int
    offset_ms: int


def windows(
    connection: sqlite3.Connection, from_ms: int, to_ms: int, run: str | None
) -> list[RunWindow]:
    """Return the stretches of runs that a span of time touches, in order of time.

    With ``run`` the span is engine time of that run, else UTC.
    """
    if run is not None:
        row = connection.execute("SELECT id FROM run WHERE run = ?", (run,)).fetchone()
        return [] if row is None else [RunWindow(row[0], run, from_ms, to_ms, 0)]
    # The greatest and least offset of any run leave out most runs without looking at each.
    rows = connection.execute(
        "SELECT run.id, run.run, start_ms, end_ms, clock.from_ms, offset_ms"
        " FROM run LEFT JOIN clock ON clock.run = run.id"
        " WHERE start_ms + (SELECT min(0, coalesce(min(offset_ms), 0)) FROM clock) < ?2 + ?3"
        " AND (end_ms IS NULL OR"
        "  end_ms + (SELECT max(0, coalesce(max(offset_ms), 0)) FROM clock) > ?1 - ?3)"
        " ORDER BY run.id, clock.from_ms",
        (from_ms, to_ms, _MARGIN_MS),
    ).fetchall()
    found: list[RunWindow] = []
    for position, (number, name, start_ms, end_ms, clock_ms, offset_ms) in enumerate(rows):
        following = rows[position + 1] if position + 1 < len(rows) else None
        same = following is not None and following[0] == number
        stop_ms = following[4] if same and following else _end(end_ms)
        begin_ms = start_ms - _MARGIN_MS
        if clock_ms is not None:
            first = position == 0 or rows[position - 1][0] != number
            if first and clock_ms > begin_ms:
                _add(found, RunWindow(number, name, begin_ms, clock_ms, 0), from_ms, to_ms)
            begin_ms = clock_ms if not first else max(begin_ms, clock_ms)
        _add(found, RunWindow(number, name, begin_ms, stop_ms, offset_ms or 0), from_ms, to_ms)
    return sorted(found, key=lambda window: window.from_ms + window.offset_ms)


def _end(end_ms: int | None) -> int:
    return _FOR_EVER if end_ms is None else end_ms + _MARGIN_MS


def _add(found: list[RunWindow], window: RunWindow, from_ms: int, to_ms: int) -> None:
    clipped = window._replace(
        from_ms=max(window.from_ms, from_ms - window.offset_ms),
        to_ms=min(window.to_ms, to_ms - window.offset_ms),
    )
    if clipped.from_ms < clipped.to_ms:
        found.append(clipped)


def channel_names(
    connection: sqlite3.Connection, run: int, channels: Iterable[str] | None
) -> dict[int, str]:
    """Return the channels of a run by number; ``None`` for all."""
    rows = connection.execute("SELECT id, name FROM channel WHERE run = ? ORDER BY id", (run,))
    wanted = None if channels is None else set(channels)
    return {number: name for number, name in rows if wanted is None or name in wanted}


def tail_columns(
    connection: sqlite3.Connection, run: int, names: dict[int, str]
) -> dict[int, Columns]:
    """Return the readings of a run not yet packed, by channel number."""
    found: dict[int, Columns] = {}
    rows = connection.execute("SELECT data FROM tail WHERE run = ? ORDER BY id", (run,))
    for (data,) in rows:
        try:
            unpacked = unpack_tail(data)
        except StoreError as fault:
            log.error("fresh readings cannot be read: %s", fault)
            continue
        for number, columns in unpacked.items():
            if number not in names:
                continue
            held = found.get(number)
            if held is None:
                found[number] = columns
            else:
                held.t_ms += columns.t_ms
                held.value += columns.value
                held.difference += columns.difference
                held.state += columns.state
    return found


class Block(NamedTuple):
    """Readings of one channel within one ten-minute block, in order of time."""

    block_ms: int
    channel: int
    columns: Columns


def stored_blocks(
    connection: sqlite3.Connection, window: RunWindow, names: dict[int, str]
) -> Iterator[list[Block]]:
    """Yield the readings of a window, one list a ten-minute block, not clipped to the window.

    The row numbers and the tail are read as of one moment; packed bytes are read block by
    block, so that a long span needs little memory.
    """
    connection.execute("BEGIN")
    try:
        rows = connection.execute(
            "SELECT block_ms, channel, id FROM packed WHERE block_ms >= ? AND block_ms < ?"
            " ORDER BY block_ms, channel",
            (block_of(window.from_ms), window.to_ms),
        ).fetchall()
        tail = tail_columns(connection, window.run, names)
    finally:
        connection.execute("ROLLBACK")
    packed: dict[int, list[tuple[int, int]]] = {}
    for block_ms, channel, row in rows:
        if channel in names:
            packed.setdefault(block_ms, []).append((channel, row))
    fresh: dict[int, list[Block]] = {}
    for channel, columns in tail.items():
        for block_ms, part in blocks(columns):
            fresh.setdefault(block_ms, []).append(Block(block_ms, channel, part))
    for block_ms in sorted(packed.keys() | fresh.keys()):
        found = fresh.get(block_ms, [])
        for channel, row in packed.get(block_ms, []):
            kept = connection.execute("SELECT data FROM packed WHERE id = ?", (row,)).fetchone()
            if kept is not None:  # retention may have dropped it meanwhile
                try:
                    found.append(Block(block_ms, channel, unpack(kept[0])))
                except StoreError as fault:  # damaged: the others are served
                    log.error("readings of %s cannot be read: %s", names[channel], fault)
        yield sorted(found, key=itemgetter(0, 1))


def clipped(columns: Columns, window: RunWindow) -> Columns:
    """Return the readings that lie within a window."""
    times = columns.t_ms
    if window.from_ms <= times[0] and times[-1] < window.to_ms:
        return columns
    return columns.cut(bisect_left(times, window.from_ms), bisect_left(times, window.to_ms))


def readings(
    connection: sqlite3.Connection,
    channels: Sequence[str] | None,
    from_ms: int,
    to_ms: int,
    run: str | None,
) -> Iterator[StoredReading]:
    """Yield readings in order of time; see ``Reader.readings``."""
    for window in windows(connection, from_ms, to_ms, run):
        names = channel_names(connection, window.run, channels)
        for found in stored_blocks(connection, window, names):
            rows: list[StoredReading] = []
            for block in found:
                columns = clipped(block.columns, window)
                rows += _rows(window.name, names[block.channel], columns)
            rows.sort(key=itemgetter(2))
            yield from rows


def _rows(run: str, channel: str, columns: Columns) -> Iterator[StoredReading]:
    cells = zip(columns.t_ms, columns.value, columns.difference, columns.state, strict=True)
    for t_ms, value, difference, state in cells:
        yield StoredReading(run, channel, t_ms, *meaning(state, value, difference))
