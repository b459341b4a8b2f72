"""The whole record checked beside the work: pages, indexes, journal, readings, snapshots, outbox.

What can be mended is mended through the writer; each sentence returned says what was. A file
whose trees are broken is for ``damage`` to replace.
"""

from __future__ import annotations

import json
import logging
import sqlite3
import time
import zlib
from collections.abc import Callable, Iterator
from contextlib import closing
from functools import partial
from pathlib import Path
from typing import Any

from pitlogger.errors import StoreError
from pitlogger.store.connection import connect_reader
from pitlogger.store.entry_copies import read_copies
from pitlogger.store.mending.journal_check import (
    aside_of,
    check_journal,
    keep_aside,
    mend_journal,
)
from pitlogger.store.packing import unpack
from pitlogger.store.sink import Do, Sink
from pitlogger.store.troubles import result_code

log = logging.getLogger(__name__)

_INDEX_WORDS = ("missing from index", "wrong # of entries in index", "non-unique entry in index")
_STEPS = 50_000  # of SQLite's machine between two rests
_REST_S = 0.002  # so that a check of hours takes half of one core at most
_AT_ONCE = 500


def look_over_whole(path: Path, do: Do, stops: Callable[[], bool]) -> Iterator[str]:
    """Check everything and mend what can be mended; yield a sentence for each thing that was.

    Args:
        do: Does a work of the writer and returns its result.
        stops: Asked now and then.

    Raises:
        sqlite3.DatabaseError: The file is damaged in a way that only replacing mends.
    """
    found = _integrity(path, stops)
    if stops():
        return
    if found and all(any(words in line for words in _INDEX_WORDS) for line in found):
        do(_reindex)
        yield f"indexes of the database were damaged and are rebuilt ({found[0]})"
        found = _integrity(path, stops)
    if found and not stops():
        raise sqlite3.DatabaseError(found[0])
    with closing(connect_reader(path)) as connection:
        faults = list(check_journal(connection, stops))
    if faults:
        copies = {copy[:2]: copy for copy in read_copies(path)[1]}
        yield from do(lambda sink: mend_journal(sink.connection, faults, copies, aside_of(path)))
    for table, number, name, content in _unreadable(path, stops):
        do(partial(_set_aside, table, number, name, content, aside_of(path)))
        yield f"{name} could not be read and is set aside in {aside_of(path).name}"


def _integrity(path: Path, stops: Callable[[], bool]) -> list[str]:
    """Return what SQLite's own check of every page and index finds."""

    def rest() -> bool:
        time.sleep(_REST_S)
        return stops()

    with closing(connect_reader(path)) as connection:
        connection.set_progress_handler(rest, _STEPS)
        try:
            rows = connection.execute("PRAGMA integrity_check(100)").fetchall()
        except sqlite3.OperationalError as error:
            if result_code(error) == sqlite3.SQLITE_INTERRUPT:
                return []
            raise
    lines = [line for (text,) in rows for line in str(text).splitlines()]
    return [] if lines == ["ok"] else [line for line in lines if not line.startswith("*** in")]


def _reindex(sink: Sink) -> None:
    sink.connection.execute("REINDEX")


def _unreadable(path: Path, stops: Callable[[], bool]) -> Iterator[tuple[str, int, str, bytes]]:
    """Yield rows whose content cannot be read: table, row id, what it is, its bytes."""
    with closing(connect_reader(path)) as connection:
        for number, block_ms, channel, data in _rows(
            connection, "packed", "block_ms, channel, data", stops
        ):
            try:
                unpack(data)
            except StoreError:
                yield "packed", number, f"ten minutes of channel {channel} ({block_ms})", data
        for number, data in _rows(connection, "snapshot", "body", stops):
            try:
                zlib.decompress(data)
            except (zlib.error, TypeError):
                yield "snapshot", number, "a snapshot of the engine", bytes(data or b"")
        for number, data in _rows(connection, "outbox", "CAST(body AS BLOB)", stops):
            try:
                json.loads(data or b"{}")
            except ValueError:
                yield "outbox", number, "a notice of the outbox", data


def _rows(
    connection: sqlite3.Connection, table: str, columns: str, stops: Callable[[], bool]
) -> Iterator[tuple[Any, ...]]:
    last = -(1 << 63)
    while not stops():
        rows = connection.execute(
            f"SELECT rowid, {columns} FROM {table} WHERE rowid > ? ORDER BY rowid LIMIT ?",
            (last, _AT_ONCE),
        ).fetchall()
        yield from rows
        if len(rows) < _AT_ONCE:
            return
        last = rows[-1][0]
        time.sleep(_REST_S)


def _set_aside(table: str, number: int, name: str, content: bytes, aside: Path, sink: Sink) -> None:
    keep_aside(aside, name, content)
    sink.connection.execute(f"DELETE FROM {table} WHERE rowid = ?", (number,))
