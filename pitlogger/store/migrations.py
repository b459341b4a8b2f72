"""Schema versions, forward only; the file is backed up before it is changed.

``user_version`` counts the migrations applied, so that an up-to-date file is known without
loading the migration library.
"""

from __future__ import annotations

import sqlite3
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from pitlogger.errors import StoreError
from pitlogger.store.connection import connect_writer
from pitlogger.store.schema import APPLICATION_ID, TABLES, VIEWS

if TYPE_CHECKING:
    from sqlite_utils import Database
    from sqlite_utils.migrations import Migrations

VERSION = 2
_HEAVY = ("numpy", "pandas")  # what the library loads where it is there, for types we never store


def migrations() -> Migrations:
    """Return the migrations, oldest first."""
    with _left_out(_HEAVY):
        from sqlite_utils.migrations import Migrations

    steps = Migrations("pitlogger")

    @steps(name="0001_first")
    def _first(db: Database) -> None:
        for statement in (*TABLES, *VIEWS):
            db.execute(statement)
        db.execute(f"PRAGMA application_id={APPLICATION_ID}")
        db.execute("PRAGMA user_version=1")

    @steps(name="0002_ask_by_kind")
    def _ask_by_kind(db: Database) -> None:
        """Checks, sign-offs and notices are found without reading a thousand cooks."""
        db.execute("CREATE INDEX journal_kind ON journal (kind)")
        db.execute("CREATE INDEX outbox_created ON outbox (created_ms)")
        db.execute("PRAGMA user_version=2")

    return steps


@contextmanager
def _left_out(names: tuple[str, ...]) -> Iterator[None]:
    """Have an import find these modules missing; they cost 80 MB at the first start.

    ``None`` in ``sys.modules`` is the import system's own word for that. Modules already
    loaded stay.
    """
    unloaded = [name for name in names if name not in sys.modules]
    sys.modules.update(dict.fromkeys(unloaded))  # type: ignore[arg-type]
    try:
        yield
    finally:
        for name in unloaded:
            del sys.modules[name]


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
        steps = migrations()
        from sqlite_utils import Database

        steps.apply(Database(connection))
    finally:
        connection.close()
