"""What is let go of old cooks: readings between the lowest and highest of each ten seconds.

What stays are readings as they were delivered, with their own times, and every change of
quality. Verdicts join readings by straight lines and go by the coldest or the warmest, so the
food log says the same as before; a limit may be crossed at most ten seconds away. Yields are
made from weighings alone, and charts from rolled-up rows, which both stay.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Sequence
from contextlib import closing
from functools import partial
from itertools import groupby
from pathlib import Path

from pitlogger.store.connection import connect_writer
from pitlogger.store.packing import Columns, pack, unpack
from pitlogger.store.schema import BLOCK_MS, PART_MS, utc
from pitlogger.store.sink import Do, Sink

# A row of fewer readings holds two or fewer each ten seconds: there is nothing to let go of.
WORTH_IT = 2 * BLOCK_MS // PART_MS
ROWS_AT_ONCE = 50  # thinned in one transaction
_SCALES_WORD = 0x30  # bits of a state byte that are no matter of quality


def thinned(columns: Columns) -> Columns:
    """Return the lowest and highest good reading of each ten seconds, and each change of quality.

    Args:
        columns: Readings of one channel in order of time.
    """
    marks = [state & ~_SCALES_WORD for state in columns.state]
    kept = set[int]()
    for _, part in groupby(range(len(columns)), key=lambda at: columns.t_ms[at] // PART_MS):
        good = [at for at in part if not marks[at]]
        if good:
            kept |= {min(good, key=columns.value.__getitem__)}
            kept |= {max(good, key=columns.value.__getitem__)}
    for at in range(len(columns)):
        is_end = at in (0, len(columns) - 1)
        if is_end or marks[at] != marks[at - 1] or marks[at] != marks[at + 1]:
            kept.add(at)
    return _picked(columns, sorted(kept))


def _picked(columns: Columns, positions: Sequence[int]) -> Columns:
    def pick(held: Sequence[int]) -> Iterable[int]:
        return map(held.__getitem__, positions)

    return Columns(
        list(pick(columns.t_ms)),
        list(pick(columns.value)),
        list(pick(columns.difference)),
        bytes(pick(columns.state)),
    )


def thin_before(do: Do, utc_ms: int, stops: Callable[[], bool]) -> int:
    """Thin the readings of runs that ended before a UTC time; return how many were dropped.

    A few rows at a time, so that an alarm does not wait. Cooks not finished keep all of theirs.

    Args:
        do: Does a work of the writer in a transaction of its own and returns its result.
        stops: Asked between two transactions; what is left is thinned another time.
    """
    dropped = 0
    for run in do(partial(_not_thinned, utc_ms)):
        dropped += _thin_all(do, do(partial(_rows, run)), stops)
        if stops():
            break
        do(partial(_mark, run))
    return dropped


def _thin_all(do: Do, rows: Sequence[int], stops: Callable[[], bool]) -> int:
    dropped = 0
    for at in range(0, len(rows), ROWS_AT_ONCE):
        if stops():
            break
        dropped += do(partial(_thin, rows[at : at + ROWS_AT_ONCE]))
    return dropped


def _thin(rows: Sequence[int], sink: Sink) -> int:
    connection = sink.connection
    dropped = 0
    for row in rows:
        found = connection.execute("SELECT data FROM packed WHERE id = ?", (row,)).fetchone()
        columns = unpack(found[0])
        left = thinned(columns)
        dropped += len(columns) - len(left)
        connection.execute(
            "UPDATE packed SET readings = ?, data = ? WHERE id = ?", (len(left), pack(left), row)
        )
    return dropped


def _not_thinned(utc_ms: int, sink: Sink) -> list[int]:
    rows = sink.connection.execute(
        f"SELECT id, {utc('run.id', 'run.end_ms')} FROM run WHERE end_ms IS NOT NULL"
        " AND NOT EXISTS (SELECT 1 FROM cook WHERE finished_ms IS NULL AND cook.run <= run.id)"
        " AND NOT EXISTS (SELECT 1 FROM cook WHERE finished_run = run.id AND NOT readings_kept)"
    )
    return [run for run, end_ms in rows if end_ms <= utc_ms]


def _rows(run: int, sink: Sink) -> list[int]:
    rows = sink.connection.execute(
        "SELECT packed.id FROM packed JOIN channel ON channel.id = packed.channel"
        " JOIN run ON run.id = channel.run WHERE run.id = ?1 AND readings > ?2"
        " AND block_ms BETWEEN (SELECT start_ms - ?3 FROM run WHERE id = ?1)"
        " AND (SELECT end_ms FROM run WHERE id = ?1) ORDER BY packed.id",
        (run, WORTH_IT, BLOCK_MS),
    )
    return [row for (row,) in rows]


def _mark(run: int, sink: Sink) -> None:
    sink.connection.execute("UPDATE cook SET readings_kept = 0 WHERE finished_run = ?", (run,))


def forget_notices(connection: sqlite3.Connection, utc_ms: int) -> int:
    """Inside a transaction: drop the notices made before a UTC time that wait for nobody.

    The alerts they carried stay in the journal.

    Returns:
        How many notices were dropped.
    """
    return connection.execute(
        "DELETE FROM outbox WHERE done AND created_ms < ?", (utc_ms,)
    ).rowcount


def compact(path: Path) -> int:
    """Give freed space back to the disk; the daemon must not run. Returns bytes freed."""
    before = path.stat().st_size
    with closing(connect_writer(path)) as connection:
        connection.execute("VACUUM")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return before - path.stat().st_size
