"""Schema versions, forward only; the file is backed up before it is changed.

``user_version`` counts the steps applied; there is no other record of them. A new file goes
through the same steps as an old one, so both have the same shape.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from pitlogger.errors import StoreError
from pitlogger.model.entry_ids import tag_of
from pitlogger.store.connection import connect_writer
from pitlogger.store.schema import (
    APPLICATION_ID,
    CHANGED_VIEWS,
    IDENTITY,
    TABLES,
    VIEWS,
    link,
)


def _first(connection: sqlite3.Connection) -> None:
    for statement in (*TABLES, *VIEWS):
        connection.execute(statement)
    connection.execute(f"PRAGMA application_id={APPLICATION_ID}")


def _ask_by_kind(connection: sqlite3.Connection) -> None:
    """Checks, sign-offs and notices are found without reading a thousand cooks."""
    connection.execute("CREATE INDEX journal_kind ON journal (kind)")
    connection.execute("CREATE INDEX outbox_created ON outbox (created_ms)")


def _identity(connection: sqlite3.Connection) -> None:
    """Runs get their tags, journals their chains; several cooks may be open at once."""
    for statement in IDENTITY:
        connection.execute(statement)
    runs = connection.execute("SELECT id, run FROM run").fetchall()
    connection.executemany(
        "UPDATE run SET tag = ? WHERE id = ?", [(tag_of(run), number) for number, run in runs]
    )
    for number, _ in runs:
        linked, previous = [], b""
        rows = connection.execute(
            "SELECT seq, entry FROM journal WHERE run = ? ORDER BY seq", (number,)
        )
        for seq, text in rows:
            previous = link(previous, text)
            linked.append((previous, number, seq))
        connection.executemany("UPDATE journal SET chain = ? WHERE run = ? AND seq = ?", linked)
    for name in ("journal_entry", "cook_span"):
        connection.execute(f"DROP VIEW {name}")
    for statement in CHANGED_VIEWS:
        connection.execute(statement)
    connection.execute("DROP TABLE IF EXISTS _sqlite_migrations")


STEPS: tuple[Callable[[sqlite3.Connection], None], ...] = (_first, _ask_by_kind, _identity)
VERSION = len(STEPS)


def bring_up_to_date(connection: sqlite3.Connection, found: int) -> None:
    """Apply the steps that a file of schema ``found`` lacks."""
    for step in STEPS[found:]:
        step(connection)
    connection.execute(f"PRAGMA user_version={VERSION}")


def version(connection: sqlite3.Connection) -> int:
    """Return the schema version of an open file; 0 for a new one.

    Raises:
        StoreError: Another program's database, or made by a newer version of this one.
    """
    found: int = connection.execute("PRAGMA user_version").fetchone()[0]
    owner: int = connection.execute("PRAGMA application_id").fetchone()[0]
    tables: int = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if owner != APPLICATION_ID and tables:
        raise StoreError(
            "this SQLite file belongs to another program; expected a pitlogger database. "
            "Name another file under [store] path"
        )
    if found > VERSION:
        raise StoreError(
            f"the database has schema {found}, this version of pitlogger knows up to {VERSION}. "
            "Install the newer version, or restore a backup made before the upgrade"
        )
    return found


def migrate(path: Path, backups: Path) -> None:
    """Bring the file at ``path`` to the current schema, creating it if there is none.

    A file of an older schema is first backed up into ``backups``.

    Raises:
        StoreError: See ``version``.
        sqlite3.Error: The file cannot be read or written.
    """
    connection = connect_writer(path)
    try:
        found = version(connection)
        if found == VERSION:
            return
        if found:
            from pitlogger.store.backup import back_up

            back_up(connection, backups, label=f"before-schema-{VERSION}")
        connection.execute("BEGIN IMMEDIATE")
        try:
            bring_up_to_date(connection, found)
            connection.execute("COMMIT")
        except BaseException:
            with suppress(sqlite3.Error):
                connection.execute("ROLLBACK")
            raise
    finally:
        connection.close()
