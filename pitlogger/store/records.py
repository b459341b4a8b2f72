"""What is written beside the readings: journal, cooks, clock, snapshots, outbox.

Every function takes the writer's connection inside an open transaction.
"""

from __future__ import annotations

import json
import sqlite3
import zlib
from collections.abc import Iterable
from dataclasses import astuple, fields

from pitlogger.errors import RefusedError
from pitlogger.formats.journal_json import load_entry
from pitlogger.model.entry_ids import tag_of
from pitlogger.model.folding import counted
from pitlogger.model.journal import CookFinished, CookStarted, CookWithdrawn
from pitlogger.store.rows import ClockRow, JournalRow, Notice, RunRow, Snapshot, columns
from pitlogger.store.schema import link

_SNAPSHOTS_KEPT = 3
_COOK_KINDS = ("cook-started", "cook-finished", "cook-withdrawn", "undone", "corrected")


def begin_run(connection: sqlite3.Connection, run: RunRow, number: int | None = None) -> int:
    """Insert a run, or find it where it is already there, and return its number.

    ``number`` is the one to give it unless that is taken; by default the next free one.
    """
    found = connection.execute("SELECT id FROM run WHERE run = ?", (run.run,)).fetchone()
    if found is not None:
        return int(found[0])
    if (
        number is not None
        and connection.execute("SELECT 1 FROM run WHERE id >= ?", (number,)).fetchone()
    ):
        number = None
    cursor = connection.execute(
        f"INSERT INTO run (id, tag, {columns(RunRow)}) VALUES ({'?, ' * len(fields(RunRow))} ?, ?)",
        (number, tag_of(run.run), *astuple(run)),
    )
    assert cursor.lastrowid is not None, "an insert gives a row id"
    return cursor.lastrowid


def run_number(connection: sqlite3.Connection, run: str) -> int:
    """Return the number of a run.

    Raises:
        RefusedError: There is no such run.
    """
    row = connection.execute("SELECT id FROM run WHERE run = ?", (run,)).fetchone()
    if row is None:
        raise RefusedError(f"unknown run '{run}': nothing can be recorded under it")
    return int(row[0])


def last_record_ms(connection: sqlite3.Connection, number: int) -> int:
    """Return the time of a run's last record, or of the end of its last packed block."""
    last: int = connection.execute(
        "SELECT max(t_ms) FROM ("
        " SELECT coalesce(end_ms, start_ms) AS t_ms FROM run WHERE id = :run"
        " UNION ALL SELECT max(t_ms) FROM journal WHERE run = :run"
        " UNION ALL SELECT max(to_ms) FROM tail WHERE run = :run"
        " UNION ALL SELECT max(block_ms) + 600000 FROM packed"
        "  WHERE NOT EXISTS (SELECT 1 FROM tail WHERE run = :run) AND block_ms >= "
        "  (SELECT start_ms - 600000 FROM run WHERE id = :run AND end_ms IS NULL)"
        "  AND channel IN (SELECT id FROM channel WHERE run = :run))",
        {"run": number},
    ).fetchone()[0]
    return last


def end_run(connection: sqlite3.Connection, number: int) -> None:
    """Close a run at the time of its last record."""
    last_ms = last_record_ms(connection, number)
    connection.execute("UPDATE run SET end_ms = ?, rev = rev + 1 WHERE id = ?", (last_ms, number))


def append_entries(connection: sqlite3.Connection, rows: Iterable[JournalRow]) -> None:
    """Insert journal entries and keep the list of cooks true to them.

    Raises:
        RefusedError: An identity or idempotency key that belongs to another entry.
    """
    cooks: list[str] = []
    for row in rows:
        _append_entry(connection, row)
        if row.entry.body.kind in _COOK_KINDS:
            cooks += row.cooks
    refresh_cooks(connection, dict.fromkeys(cooks))


def refresh_cooks(connection: sqlite3.Connection, cooks: Iterable[str]) -> None:
    """Make the list of cooks say of these what the journal says."""
    for cook in cooks:
        _refresh_cook(connection, cook)


def _append_entry(connection: sqlite3.Connection, row: JournalRow) -> None:
    entry = row.entry
    run = run_number(connection, entry.run)
    if entry.key:
        _check_key(connection, run, row)
    before = connection.execute(
        "SELECT chain FROM journal WHERE run = ? AND seq < ? ORDER BY seq DESC LIMIT 1",
        (run, entry.seq),
    ).fetchone()
    inserted = connection.execute(
        "INSERT INTO journal (run, seq, t_ms, kind, initials, request_key, cook, entry, chain)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (run, seq) DO NOTHING",
        (
            run,
            entry.seq,
            entry.t_ms,
            entry.body.kind,
            entry.by,
            entry.key or None,
            row.cook,
            row.text,
            link(before[0] if before else b"", row.text),
        ),
    )
    if inserted.rowcount:
        connection.executemany(
            "INSERT OR IGNORE INTO entry_cook (cook, run, seq) VALUES (?, ?, ?)",
            [(cook, run, entry.seq) for cook in row.also],
        )
        return
    kept = connection.execute(
        "SELECT entry FROM journal WHERE run = ? AND seq = ?", (run, entry.seq)
    ).fetchone()[0]
    if kept != row.text:
        raise RefusedError(
            f"entry {entry.id} is already on record and says something else; nothing was changed"
        )


def _check_key(connection: sqlite3.Connection, run: int, row: JournalRow) -> None:
    found = connection.execute(
        "SELECT run, seq FROM journal WHERE request_key = ?", (row.entry.key,)
    ).fetchone()
    if found is not None and found != (run, row.entry.seq):
        raise RefusedError(
            f"the request '{row.entry.key}' was already carried out as entry {found[1]};"
            " nothing was written twice"
        )


def _refresh_cook(connection: sqlite3.Connection, cook: str) -> None:
    texts = connection.execute(
        "SELECT entry FROM journal WHERE cook = ?"
        f" AND kind IN ({', '.join('?' * len(_COOK_KINDS))}) ORDER BY run, seq",
        (cook, *_COOK_KINDS),
    ).fetchall()
    begun = finished = None
    withdrawn = False
    for entry, body, _ in counted(load_entry(json.loads(text)) for (text,) in texts):
        run = run_number(connection, entry.run)
        if isinstance(body, CookStarted):
            begun = (body.cook.name, run, entry.t_ms if body.at_ms is None else body.at_ms)
        elif isinstance(body, CookFinished):
            finished = (run, entry.t_ms)
        elif isinstance(body, CookWithdrawn):
            withdrawn = True
    if begun is None:
        connection.execute("DELETE FROM cook WHERE id = ?", (cook,))
        return
    connection.execute(
        "INSERT INTO cook (id, name, run, started_ms, finished_run, finished_ms, withdrawn)"
        " VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT (id) DO UPDATE SET name = excluded.name,"
        " run = excluded.run, started_ms = excluded.started_ms,"
        " finished_run = excluded.finished_run, finished_ms = excluded.finished_ms,"
        " withdrawn = excluded.withdrawn",
        (cook, *begun, *(finished or (None, None)), withdrawn),
    )


def set_clock(connection: sqlite3.Connection, clock: ClockRow) -> None:
    """Insert or replace the offset of a run from a time on."""
    connection.execute(
        "INSERT INTO clock (run, from_ms, offset_ms, trusted) VALUES (?, ?, ?, ?)"
        " ON CONFLICT (run, from_ms) DO UPDATE SET rev = rev + 1,"
        " offset_ms = excluded.offset_ms, trusted = excluded.trusted",
        (run_number(connection, clock.run), clock.from_ms, clock.offset_ms, clock.trusted),
    )


def save_snapshot(connection: sqlite3.Connection, snapshot: Snapshot) -> None:
    """Insert a snapshot, deflated, and drop all but the newest few."""
    body = zlib.compress(snapshot.body)
    connection.execute(
        "INSERT INTO snapshot (run, t_ms, version, body) VALUES (?, ?, ?, ?)",
        (run_number(connection, snapshot.run), snapshot.t_ms, snapshot.version, body),
    )
    connection.execute(
        "DELETE FROM snapshot WHERE id NOT IN (SELECT id FROM snapshot ORDER BY id DESC LIMIT ?)",
        (_SNAPSHOTS_KEPT,),
    )


def put_notice(connection: sqlite3.Connection, notice: Notice) -> None:
    """Insert a notice of the outbox or overwrite it."""
    marks = ", ".join("?" * len(fields(Notice)))
    connection.execute(
        f"INSERT OR REPLACE INTO outbox ({columns(Notice)}) VALUES ({marks})", astuple(notice)
    )


def put_lost(
    connection: sqlite3.Connection, run: int, from_ms: int, to_ms: int, readings: int, reason: str
) -> None:
    """Record readings that could not be kept."""
    connection.execute(
        "INSERT INTO lost (run, from_ms, to_ms, readings, reason) VALUES (?, ?, ?, ?, ?)",
        (run, from_ms, to_ms, readings, reason),
    )
