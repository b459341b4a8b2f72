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
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

from pitlogger.errors import StoreError
from pitlogger.store.backup import move_aside, newest_sound
from pitlogger.store.connection import connect_writer
from pitlogger.store.migrations import migrate
from pitlogger.store.packing import unpack, unpack_tail
from pitlogger.store.records import refresh_cooks
from pitlogger.store.rescue import Batch, last_run_told_of, rescued
from pitlogger.store.sink import Sink

log = logging.getLogger(__name__)

ROWS_AT_ONCE = 500
# Table, columns that name a row, ordered so that rows come after what they refer to.
_TABLES = (
    ("clock", ("run", "from_ms")),
    ("journal", ("run", "seq")),
    ("cook", ("id",)),
    ("packed", ("id",)),
    ("rollup", ("t_ms", "channel")),
    ("tail", ("id",)),
    ("lost", ("id",)),
    ("outbox", ("id",)),
)


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
    yield from rescued(damaged)


def insert(sink: Sink, batch: Batch, numbers: Numbers) -> int:
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


class Numbers:
    """How the numbers of runs and channels in the damaged file read in the new one."""

    def __init__(self) -> None:
        self._runs: dict[object, int] = {}
        self._channels: dict[object, int] = {}
        self._has_begun = False

    def begin(self, sink: Sink) -> None:
        """Know those of the backup that the new file began as: they are the same."""
        if self._has_begun:
            return
        self._has_begun = True
        runs = sink.connection.execute("SELECT id FROM run WHERE id <> ?", (sink.run,))
        self._runs = {number: number for (number,) in runs}
        channels = sink.connection.execute("SELECT id FROM channel WHERE run <> ?", (sink.run,))
        self._channels = {number: number for (number,) in channels}

    def run(self, number: object) -> int | None:
        return self._runs.get(number)

    def channel(self, number: object) -> int | None:
        return self._channels.get(number)

    def take_runs(
        self,
        connection: sqlite3.Connection,
        columns: tuple[str, ...],
        rows: list[tuple[object, ...]],
    ) -> int:
        marks = ", ".join("?" * len(columns))
        names = ", ".join(columns)
        added = 0
        for row in rows:
            number, run = row[0], row[columns.index("run")]
            taken = connection.execute(
                "SELECT 1 FROM run WHERE id = ? AND run <> ?", (number, run)
            ).fetchone()
            added += connection.execute(
                f"INSERT OR IGNORE INTO run ({names}) VALUES ({marks})",
                (None if taken else number, *row[1:]),
            ).rowcount
            found = connection.execute("SELECT id FROM run WHERE run = ?", (run,)).fetchone()
            self._runs[number] = found[0]
        return added

    def take_channels(
        self,
        connection: sqlite3.Connection,
        columns: tuple[str, ...],
        rows: list[tuple[object, ...]],
    ) -> int:
        added = 0
        for row in rows:
            fields = dict(zip(columns, row, strict=True))
            run = self._runs.get(fields["run"])
            if run is None:
                continue
            added += connection.execute(
                "INSERT INTO channel (run, name, quantity) VALUES (?, ?, ?)"
                " ON CONFLICT (run, name) DO NOTHING",
                (run, fields["name"], fields["quantity"]),
            ).rowcount
            self._channels[fields["id"]] = connection.execute(
                "SELECT id FROM channel WHERE run = ? AND name = ?", (run, fields["name"])
            ).fetchone()[0]
        return added

    def mapped(
        self, columns: tuple[str, ...], row: tuple[object, ...]
    ) -> tuple[object, ...] | None:
        """Return a row with the new numbers; ``None`` where what it refers to is gone."""
        out: list[object] = []
        for name, item in zip(columns, row, strict=True):
            if name in ("run", "finished_run") and item is not None:
                item = self._runs.get(item)  # noqa: PLW2901
                if item is None:
                    return None
            elif name == "channel" and isinstance(item, int):
                item = self._channels.get(item)  # noqa: PLW2901
                if item is None:
                    return None
            out.append(item)
        return tuple(out)


def _open(damaged: Path) -> sqlite3.Connection:
    """Open a damaged file, with its first page replaced by a sound one if it is unreadable."""
    connection = connect_raw(damaged)
    try:
        connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    except sqlite3.DatabaseError:
        connection.close()
        patched = _with_sound_first_page(damaged)
        connection = connect_raw(patched)
    return connection


def connect_raw(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(path, timeout=1.0, isolation_level=None, check_same_thread=False)


def _with_sound_first_page(damaged: Path) -> Path:
    """Return a copy whose first page is that of a new, empty database.

    Every database made by the same migrations has its tables' roots at the same pages.
    """
    model = damaged.with_name(damaged.name + ".model")
    patched = damaged.with_name(damaged.name + ".patched")
    shutil.copyfile(damaged, patched)
    try:
        migrate(model, damaged.parent)
        with closing(connect_writer(model)) as connection:
            octets = connection.execute("PRAGMA page_size").fetchone()[0]
            connection.execute("PRAGMA journal_mode=DELETE")
        with patched.open("r+b") as target, model.open("rb") as source:
            page = bytearray(source.read(octets))
            page[28:32] = (patched.stat().st_size // octets).to_bytes(4, "big")
            target.write(page)
    finally:
        for leftover in model.parent.glob(model.name + "*"):
            leftover.unlink(missing_ok=True)
    return patched


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
