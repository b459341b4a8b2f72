"""One connection's transactions: readings into tail and packed rows, jobs beside them.

A commit either lands whole or leaves both the file and this object as they were.
"""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass, field
from operator import itemgetter
from pathlib import Path
from typing import Any

from pitlogger.errors import PitloggerError, StoreError
from pitlogger.model.readings import Tagged
from pitlogger.store import records
from pitlogger.store.connection import connect_writer
from pitlogger.store.entry_copies import EntryCopies
from pitlogger.store.mending.in_place import place_of, put_back
from pitlogger.store.mending.journal_check import aside_of, keep_aside
from pitlogger.store.packing import QUALITIES, Columns, group, pack, pack_tail, unpack, unpack_tail
from pitlogger.store.rollup import minutes
from pitlogger.store.rows import JournalRow, RunRow
from pitlogger.store.schema import BLOCK_MS, PARTS
from pitlogger.store.spans import block_of, blocks, joined, ripe
from pitlogger.store.troubles import is_about_host

log = logging.getLogger(__name__)

Do = Callable[[Callable[["Sink"], Any]], Any]  # a work in a transaction of its own; its result
_INSERT_MINUTE = f"INSERT OR REPLACE INTO rollup VALUES ({', '.join('?' * (6 + 4 * PARTS))})"


@dataclass(slots=True)
class WriteJob:
    """Something to do inside a transaction, and who waits for its commit."""

    work: Callable[[Sink], Any]
    future: Future[Any] = field(default_factory=Future)


@dataclass(slots=True)
class Loss:
    """Readings that could not be kept, not yet recorded."""

    from_ms: int
    to_ms: int
    readings: int
    reason: str


def _refusal(error: Exception) -> PitloggerError:
    if isinstance(error, PitloggerError):
        return error
    return StoreError(f"this cannot be written and was refused: {error!r}")


def _is_sound(reading: Tagged) -> bool:
    whole = all(item is None or type(item) is int for item in reading[2:4])
    timed = type(reading[1]) is int and abs(reading[1]) < 1 << 62  # what SQLite can hold
    return whole and timed and type(reading[0]) is str and reading[4] in QUALITIES


def _span_of(readings: Sequence[Tagged]) -> tuple[int, int]:
    times = [reading.t_ms for reading in readings] or [0]
    return min(times), max(times)


class Sink:
    """The writer's connection, its run, and the readings not yet packed."""

    def __init__(
        self,
        path: Path,
        run: RunRow,
        number: int | None = None,
        waiting: dict[str, Columns] | None = None,
    ) -> None:
        """Open the file, begin the run, pack what a killed run left in its tail.

        Args:
            path: Database file of the current schema.
            run: The run that writes.
            number: Number of the run in the file; by default the next free one.
            waiting: Readings not yet packed that the file does not hold, where this sink
                takes the place of one whose file was damaged.

        Raises:
            sqlite3.Error: The file cannot be written.
        """
        self.connection = connect_writer(path)
        self._channels: dict[tuple[int, str], int] = {}
        self._sealed_to_ms: dict[int, int] = {}  # by channel number
        self.waiting: dict[str, Columns] = waiting or {}
        self._copies = EntryCopies(path, run)
        self._aside = aside_of(path)
        self.said: list[str] = []  # of what could not be read; told by the writer
        self._appended: list[JournalRow] = []  # in this transaction
        try:
            self._begin()
            self.run = records.begin_run(self.connection, run, number)
            self._take_over_tails()
            if self.waiting:
                self._put_tail(self.waiting)
            self.connection.execute("COMMIT")
        except BaseException:
            self.connection.close()
            raise
        self._path, self._place = path, place_of(path)

    @property
    def is_in_place(self) -> bool:
        """Whether the file still lies where it was opened."""
        return place_of(self._path) == self._place

    def put_back(self) -> str:
        """Write a file that was removed while open to where it belongs; return that in words.

        Raises:
            sqlite3.Error, OSError: It cannot be written now.
        """
        said = ""
        with suppress(sqlite3.ProgrammingError):  # closed: put back before, and not opened then
            said = put_back(self.connection, self._path, self._place[0])
        self.connection = connect_writer(self._path)
        self.connection.execute("DELETE FROM tail WHERE 0")  # makes its write-ahead file
        self._place = place_of(self._path)
        return said

    def close(self, *, pack_rest: bool) -> None:
        """Close the connection; with ``pack_rest`` pack the tail and end the run first.

        Raises:
            sqlite3.Error: It could not be packed; the connection is closed nevertheless.
        """
        try:
            if pack_rest:
                self._begin()
                records.end_run(self.connection, self.run)
                self._seal(self.run, {name: blocks(held) for name, held in self.waiting.items()})
                self.connection.execute("DELETE FROM tail WHERE run = ?", (self.run,))
                self.connection.execute("COMMIT")
        finally:
            self._copies.close()
            self.connection.close()

    def append_entries(self, rows: Sequence[JournalRow]) -> None:
        """Inside a transaction: insert journal entries; see ``records.append_entries``."""
        records.append_entries(self.connection, rows)
        self._appended += rows

    def commit(
        self, jobs: Sequence[WriteJob], readings: Sequence[Tagged], losses: Sequence[Loss] = ()
    ) -> list[tuple[WriteJob, Any, PitloggerError | None]]:
        """Do all in one transaction; return each job with its result or its refusal.

        Raises:
            sqlite3.Error: Nothing was written.
        """
        known = dict(self._channels)
        self._appended = []
        self._begin()
        try:
            outcomes = [self._do(job) for job in jobs]
            for loss in losses:
                records.put_lost(
                    self.connection, self.run, loss.from_ms, loss.to_ms, loss.readings, loss.reason
                )
            waiting = self._keep_sound(readings) if readings else self.waiting
            self.connection.execute("COMMIT")
        except BaseException:
            self._channels = known
            if self.connection.in_transaction:
                self.connection.execute("ROLLBACK")
            raise
        self.waiting = waiting
        self._copies.keep(self._appended)
        return outcomes

    def add_run(
        self, run: RunRow, readings: Sequence[Tagged], quantities: Mapping[str, str]
    ) -> None:
        """Inside a transaction: record another run, its readings packed at once."""
        number = records.begin_run(self.connection, run)
        for name, columns in group(readings).items():
            self.merge(self.channel(name, number), columns)
        self.connection.executemany(
            "UPDATE channel SET quantity = ? WHERE id = ?",
            [(quantity, self.channel(name, number)) for name, quantity in quantities.items()],
        )

    def merge(self, channel: int, columns: Columns) -> int:
        """Inside a transaction: add to a channel the readings it does not hold yet.

        Returns:
            How many there were.
        """
        added = 0
        for block_ms, part in blocks(columns):
            held = self._held_block(block_ms, channel)
            if held is not None:
                part = part.without(held[1])  # noqa: PLW2901
            if len(part):
                self._write_blocks([(block_ms, channel, part)])
                added += len(part)
        return added

    def channel(self, name: str, run: int | None = None) -> int:
        """Return the number of a channel, recording it the first time."""
        run = self.run if run is None else run
        number = self._channels.get((run, name))
        if number is None:
            self.connection.execute(
                "INSERT INTO channel (run, name) VALUES (?, ?) ON CONFLICT DO NOTHING", (run, name)
            )
            number = self.connection.execute(
                "SELECT id FROM channel WHERE run = ? AND name = ?", (run, name)
            ).fetchone()[0]
            self._channels[run, name] = number
        return number

    def _begin(self) -> None:
        self.connection.execute("BEGIN IMMEDIATE")

    def _do(self, job: WriteJob) -> tuple[WriteJob, Any, PitloggerError | None]:
        self.connection.execute("SAVEPOINT job")
        appended = len(self._appended)
        try:
            result = job.work(self)
        except Exception as error:
            if is_about_host(error):
                raise
            del self._appended[appended:]
            self.connection.execute("ROLLBACK TO job")
            self.connection.execute("RELEASE job")
            return job, None, _refusal(error)
        self.connection.execute("RELEASE job")
        return job, result, None

    def _keep_sound(self, readings: Sequence[Tagged]) -> dict[str, Columns]:
        """As ``_keep``, but what is no reading at all is put on record as lost, not retried."""
        try:
            return self._keep(readings)
        except Exception as error:
            if is_about_host(error):
                raise
            log.exception("readings that cannot be packed")
        sound = [reading for reading in readings if _is_sound(reading)]
        records.put_lost(
            self.connection,
            self.run,
            *_span_of(sound),
            len(readings) - len(sound),
            "no reading: a value that is no whole number, or an unknown quality",
        )
        return self._keep(sound) if sound else self.waiting

    def _keep(self, readings: Sequence[Tagged]) -> dict[str, Columns]:
        """Write readings to the tail, or pack the blocks they complete; return what waits."""
        fresh = group(readings)
        newest_ms = max(max(columns.t_ms) for columns in fresh.values())
        boundary_ms = block_of(newest_ms)
        waiting = joined(self.waiting, fresh)
        if all(min(columns.t_ms) >= boundary_ms for columns in waiting.values()):
            self._put_tail(fresh)
            return waiting
        sealed, left = ripe(waiting, boundary_ms)
        self._seal(self.run, sealed)
        self.connection.execute("DELETE FROM tail WHERE run = ?", (self.run,))
        if left:
            self._put_tail(left)
        return left

    def _put_tail(self, channels: dict[str, Columns]) -> None:
        numbered = {self.channel(name): columns for name, columns in channels.items()}
        self.connection.execute(
            "INSERT INTO tail (run, from_ms, to_ms, readings, data) VALUES (?, ?, ?, ?, ?)",
            (
                self.run,
                min(min(columns.t_ms) for columns in channels.values()),
                max(max(columns.t_ms) for columns in channels.values()),
                sum(map(len, channels.values())),
                pack_tail(numbered),
            ),
        )

    def _seal(self, run: int, sealed: dict[str, list[tuple[int, Columns]]]) -> None:
        """Write blocks as packed rows and roll them up."""
        self._write_blocks(
            (block_ms, self.channel(name, run), columns)
            for name, split in sealed.items()
            for block_ms, columns in split
        )

    def _write_blocks(self, parts: Iterable[tuple[int, int, Columns]]) -> None:
        """Write (block, channel, readings), oldest first so that pages fill."""
        rolled = []
        for block_ms, channel, columns in sorted(parts, key=itemgetter(0, 1)):
            whole = self._put_block(block_ms, channel, columns)
            rolled += [(row[0], channel, *row[1:]) for row in minutes(whole)]
        rolled.sort(key=itemgetter(0, 1))
        self.connection.executemany(_INSERT_MINUTE, rolled)

    def _put_block(self, block_ms: int, channel: int, columns: Columns) -> Columns:
        """Write one packed row, together with what an earlier one of the block held."""
        if block_ms < self._sealed_to_ms.get(channel, block_ms + 1):
            held = self._held_block(block_ms, channel)
            if held is not None:
                columns = held[1].plus(columns).in_order()
                self.connection.execute(
                    "UPDATE packed SET readings = ?, data = ?, rev = rev + 1 WHERE id = ?",
                    (len(columns), pack(columns), held[0]),
                )
                return columns
        self.connection.execute(
            "INSERT INTO packed (block_ms, channel, readings, data) VALUES (?, ?, ?, ?)",
            (block_ms, channel, len(columns), pack(columns)),
        )
        sealed_to_ms = max(block_ms + BLOCK_MS, self._sealed_to_ms.get(channel, 0))
        self._sealed_to_ms[channel] = sealed_to_ms
        return columns

    def _held_block(self, block_ms: int, channel: int) -> tuple[int, Columns] | None:
        row = self.connection.execute(
            "SELECT id, data FROM packed WHERE block_ms = ? AND channel = ?", (block_ms, channel)
        ).fetchone()
        if row is None:
            return None
        try:
            return row[0], unpack(row[1])
        except StoreError as error:
            self._set_aside(f"ten minutes of channel {channel} ({block_ms})", row[1], error)
            self.connection.execute("DELETE FROM packed WHERE id = ?", (row[0],))
            return None

    def _set_aside(self, what: str, content: bytes, error: Exception) -> None:
        keep_aside(self._aside, what, content)
        self.said.append(f"{what} cannot be read ({error}): set aside in {self._aside.name}")

    def _take_over_tails(self) -> None:
        """Pack what runs that were killed left behind, and end those runs."""
        left = self.connection.execute(
            "SELECT id FROM run WHERE end_ms IS NULL AND id <> ?", (self.run,)
        ).fetchall()
        for (number,) in left:
            records.end_run(self.connection, number)
        rows = self.connection.execute("SELECT id, run, data FROM tail ORDER BY id").fetchall()
        by_run: dict[int, dict[str, Columns]] = {}
        names = dict(self.connection.execute("SELECT id, name FROM channel").fetchall())
        for number, run, data in rows:
            try:
                found = {names[at]: columns for at, columns in unpack_tail(data).items()}
            except (StoreError, KeyError) as error:
                self._set_aside(f"the last readings of run {run} (part {number})", data, error)
                continue
            by_run[run] = joined(by_run.get(run, {}), found)
        for run, waiting in by_run.items():
            self._seal(run, {name: blocks(held) for name, held in waiting.items()})
        self.connection.execute("DELETE FROM tail")
