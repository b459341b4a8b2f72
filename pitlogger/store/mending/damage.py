"""A damaged file: move it aside, go on in a new one, save what can be read of the old.

The new file begins as the newest sound backup, else empty. Numbers of runs are the same in
a backup, the damaged file and the new one, because they descend from one another; where they
are not, rows are matched by the run's id and the channel's name. A record already there is
left as it is, so salvaging twice does no harm.
"""

from __future__ import annotations

import logging
import shutil
import sqlite3
from collections.abc import Callable, Collection, Iterator
from contextlib import closing, suppress
from functools import partial
from pathlib import Path
from typing import Any

from pitlogger.errors import StoreError
from pitlogger.store.backup import move_aside, newest_sound
from pitlogger.store.connection import Connection
from pitlogger.store.mending.renumber import Numbers
from pitlogger.store.mending.rescue import Batch, last_run_told_of, rescued
from pitlogger.store.migrations import migrate
from pitlogger.store.packing import unpack, unpack_tail
from pitlogger.store.records import end_run, refresh_cooks
from pitlogger.store.sink import Do, Sink

log = logging.getLogger(__name__)

ROWS_AT_ONCE = 500
_MARK = ".saved"
# Table, columns that name a row, ordered so that rows come after what they refer to.
_TABLES = (
    ("clock", ("run", "from_ms")),
    ("journal", ("run", "seq")),
    ("entry_cook", ("cook", "run", "seq")),
    ("cook", ("id",)),
    ("packed", ("id",)),
    ("rollup", ("t_ms", "channel")),
    ("tail", ("id",)),
    ("lost", ("id",)),
    ("outbox", ("id",)),
)


JOURNAL_TABLES = ("run", "channel", "clock", "journal", "cook", "entry_cook")


def replace_file(path: Path, backups: Path) -> tuple[Path, Path | None]:
    """Move the damaged file aside and put a new one in its place.

    Returns:
        Where the damaged file now lies, and the backup the new one began as, if any.

    Raises:
        OSError, sqlite3.Error: The folder cannot be written.
    """
    aside = move_aside(path, "damaged")
    backup = newest_sound(backups)
    if backup is not None:
        shutil.copyfile(backup, path)
    migrate(path, backups)
    return aside, backup


def last_run(damaged: Path) -> int:
    """Return the greatest number of a run that can be read, 0 if none can."""
    last = last_run_told_of(damaged)
    with suppress(sqlite3.Error), closing(_open(damaged)) as connection:
        batches = _rows(connection, "run", ("id",))
        last = max((row[0] for _, _, rows in batches for row in rows), default=last)
    return last


def save(damaged: Path, do: Do, stops: Callable[[], bool], tables: Collection[str] = ()) -> int:
    """Feed what can be read of a damaged file to the writer, batch by batch.

    A mark beside the file says that this was done; else the next start does it again.

    Args:
        do: Does a work of the writer in a transaction of its own and returns its result.
        stops: Asked between two batches.
        tables: Only these, as the first aid before the rest; all by default.

    Returns:
        How many rows and readings were new.
    """
    numbers = Numbers()
    saved = 0
    for batch in salvage(damaged):
        if tables and batch[0] not in tables:
            continue
        try:
            saved += do(partial(_insert, batch, numbers))
        except StoreError as refusal:
            log.warning("%d rows of %s were not saved: %s", len(batch[2]), batch[0], refusal)
        if stops():
            log.warning("salvage of %s goes on later", damaged)
            return saved
    if tables:
        return saved
    with suppress(StoreError):
        do(partial(_end_runs, numbers))
    log.warning("%d records were saved from the damaged database %s", saved, damaged)
    with suppress(OSError):
        _mark_of(damaged).touch()
    return saved


def unsaved(path: Path) -> list[Path]:
    """Return the damaged files beside a database that were not read to their end."""
    return [found for found in damaged_files(path) if not _mark_of(found).exists()]


def damaged_files(path: Path) -> list[Path]:
    """Return the damaged files that were moved aside, the oldest first."""
    found = path.parent.glob(f"{path.name}.damaged-*")
    return sorted(one for one in found if one.suffix != _MARK and not one.name.endswith("-wal"))


def _mark_of(damaged: Path) -> Path:
    return damaged.with_name(damaged.name + _MARK)


def salvage(damaged: Path) -> Iterator[Batch]:
    """Yield what can be read of a damaged file, in batches, runs and channels first.

    As its tables give it, then page by page: damage in the middle of a tree hides what is
    behind it. Most comes twice then, which does no harm.
    """
    try:
        with closing(_open(damaged)) as connection:
            for table, keys in (("run", ("id",)), ("channel", ("id",)), *_TABLES):
                yield from _rows(connection, table, keys)
    except sqlite3.Error as error:
        log.warning("%s cannot be read as a database: %s", damaged, error)
    try:
        yield from rescued(damaged)
    except OSError as error:
        log.warning("%s cannot be read further: %s", damaged, error)


def _end_runs(numbers: Numbers, sink: Sink) -> None:
    """Let runs end with their last record, now that it is there."""
    for number in numbers.unended - {sink.run}:
        sink.connection.execute("UPDATE run SET end_ms = NULL WHERE id = ?", (number,))
        end_run(sink.connection, number)


def _insert(batch: Batch, numbers: Numbers, sink: Sink) -> int:
    """Insert a batch inside a transaction; return how many rows or readings were new."""
    table, columns, rows = batch
    numbers.begin(sink)
    if table == "run":
        return numbers.take_runs(sink.connection, columns, rows)
    if table == "channel":
        return numbers.take_channels(sink.connection, columns, rows)
    if table in ("packed", "tail"):
        return sum(
            _merge(sink, table, dict(zip(columns, row, strict=True)), numbers) for row in rows
        )
    if table == "lost":  # its id means nothing and is given anew
        columns, rows = columns[1:], [row[1:] for row in rows]
    marks = ", ".join("?" * len(columns))
    statement = f"INSERT OR IGNORE INTO {table} ({', '.join(columns)}) VALUES ({marks})"
    mapped = (numbers.mapped(columns, row) for row in rows)
    added = sum(
        sink.connection.execute(statement, row).rowcount for row in mapped if row is not None
    )
    if table == "journal":
        cooks = {row[columns.index("cook")] for row in rows} - {None}
        refresh_cooks(sink.connection, cooks)
    return added


def _merge(sink: Sink, table: str, row: dict[str, Any], numbers: Numbers) -> int:
    """Add the readings of a packed or tail row that are not there yet; none if unreadable."""
    try:
        held = (
            unpack_tail(row["data"]) if table == "tail" else {row["channel"]: unpack(row["data"])}
        )
    except StoreError as error:
        log.warning("a row of %s cannot be read: %s", table, error)
        return 0
    if table == "tail" and numbers.run(row["run"]) == sink.run:
        return 0  # the writer still has these in memory and has written them anew
    added = 0
    for number, columns in held.items():
        channel = numbers.channel(number)
        if channel is not None:
            added += sink.merge(channel, columns)
    return added


def _open(damaged: Path) -> sqlite3.Connection:
    return sqlite3.connect(
        damaged, timeout=1.0, isolation_level=None, check_same_thread=False, factory=Connection
    )


def _rows(connection: sqlite3.Connection, table: str, keys: tuple[str, ...]) -> Iterator[Batch]:
    """Yield the rows of a table from the front up to the damage, then from the back."""
    for direction in ("", " DESC"):
        order = ", ".join(key + direction for key in keys)
        try:
            cursor = connection.execute(f"SELECT * FROM {table} ORDER BY {order}")
        except sqlite3.DatabaseError as error:
            log.warning("table %s cannot be read: %s", table, error)
            continue
        columns = tuple(item[0] for item in cursor.description)
        whole = False
        rows: list[tuple[object, ...]] = []
        with suppress(sqlite3.DatabaseError):
            for row in cursor:
                rows.append(row)
                if len(rows) >= ROWS_AT_ONCE:
                    yield table, columns, rows
                    rows = []
            whole = True
        if rows:
            yield table, columns, rows
        if whole:
            return
