"""What is let go of old cooks: the single readings. Journal, weighings and rolled-up rows stay.

Yields, reports and the food log are made from what stays: every decision, and minimum,
maximum and mean of every ten seconds.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from pitlogger.errors import RefusedError
from pitlogger.store.connection import connect_writer
from pitlogger.store.schema import BLOCK_MS, utc


def forget_cook(connection: sqlite3.Connection, cook: str) -> int:
    """Inside a transaction: drop the packed readings of a finished cook.

    Returns:
        How many readings were dropped.

    Raises:
        RefusedError: No such cook, or it is not finished.
    """
    row = connection.execute(
        "SELECT run, started_ms, finished_run, finished_ms FROM cook WHERE id = ?", (cook,)
    ).fetchone()
    if row is None:
        raise RefusedError(f"unknown cook '{cook}': nothing was dropped")
    first, started_ms, last, finished_ms = row
    if finished_ms is None:
        raise RefusedError(f"cook '{cook}' is not finished: its readings are still needed")
    dropped = 0
    for run in range(first, last + 1):
        from_ms = started_ms if run == first else None
        to_ms = finished_ms if run == last else None
        dropped += _forget(connection, run, from_ms, to_ms)
    connection.execute("UPDATE cook SET readings_kept = 0 WHERE id = ?", (cook,))
    return dropped


def forget_before(connection: sqlite3.Connection, utc_ms: int) -> int:
    """Inside a transaction: drop all packed readings older than a UTC time.

    Returns:
        How many readings were dropped. Cooks not finished keep theirs.
    """
    ended = connection.execute(
        f"SELECT id, {utc('run.id', 'run.end_ms')} FROM run WHERE end_ms IS NOT NULL"
        " AND NOT EXISTS (SELECT 1 FROM cook WHERE finished_ms IS NULL AND cook.run <= run.id)"
    ).fetchall()
    dropped = 0
    for run, end_ms in ended:
        if end_ms <= utc_ms:
            dropped += _forget(connection, run, None, None)
            connection.execute("UPDATE cook SET readings_kept = 0 WHERE finished_run = ?", (run,))
    return dropped


def forget_notices(connection: sqlite3.Connection, utc_ms: int) -> int:
    """Inside a transaction: drop the notices made before a UTC time that wait for nobody.

    The alerts they told of stay in the journal.

    Returns:
        How many notices were dropped.
    """
    return connection.execute(
        "DELETE FROM outbox WHERE done AND created_ms < ?", (utc_ms,)
    ).rowcount


def compact(path: Path) -> int:
    """Give freed space back to the disk; the daemon must not run. Returns octets freed."""
    before = path.stat().st_size
    with closing(connect_writer(path)) as connection:
        connection.execute("VACUUM")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return before - path.stat().st_size


def _forget(
    connection: sqlite3.Connection, run: int, from_ms: int | None, to_ms: int | None
) -> int:
    """Drop the blocks of a run that lie wholly between two engine times."""
    span = connection.execute(
        "SELECT start_ms - ?, coalesce(end_ms, 9223372036854775807) FROM run WHERE id = ?",
        (BLOCK_MS, run),
    ).fetchone()
    if span is None:
        return 0
    start_ms, end_ms = (
        span[0] if from_ms is None else from_ms,
        span[1] if to_ms is None else to_ms - BLOCK_MS,
    )
    where = "WHERE block_ms BETWEEN ? AND ? AND channel IN (SELECT id FROM channel WHERE run = ?)"
    dropped: int = connection.execute(
        f"SELECT coalesce(sum(readings), 0) FROM packed {where}",
        (start_ms, end_ms, run),
    ).fetchone()[0]
    connection.execute(f"DELETE FROM packed {where}", (start_ms, end_ms, run))
    return dropped
