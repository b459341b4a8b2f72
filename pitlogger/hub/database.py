"""The hub's database: SQLite for a few pits, PostgreSQL for hundreds; one set of statements.

Statements are written with ``?`` for what is given. Both know ON CONFLICT, savepoints and the
rest that is used here; what differs in the tables stands in ``tables.py``.
"""

from __future__ import annotations

import json
import secrets
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol

from pitlogger.errors import HubFullError
from pitlogger.hub import tables
from pitlogger.store.connection import connect_writer

LOOK = "Make room on the hub's disk, or see that its database runs"

Row = tuple[Any, ...]


class Database(Protocol):
    """One connection, used from one thread at a time.

    Attributes:
        broken: Errors that say that what was given does not fit.
        failing: Errors that say that the database itself fails.
        life: Of the connection, another each time it is made: what was in the database may be
            gone since, as after a restore.
    """

    broken: tuple[type[Exception], ...]
    failing: tuple[type[Exception], ...]
    life: str

    def ask(self, statement: str, given: Sequence[Any] = ()) -> list[Row]:
        """Return the rows that a question finds."""

    def run(self, statement: str, given: Sequence[Any] = ()) -> int:
        """Change something; return how many rows."""

    def many(self, statement: str, rows: Iterable[Sequence[Any]]) -> None:
        """Do the same for many rows."""

    def transaction(self) -> Any:
        """Return a context: all within is committed to disk, or none of it.

        Raises:
            HubFullError: Disk or database refuse; nothing was written.
        """

    def attempt(self) -> Any:
        """Return a context inside a transaction: an error undoes what lies within alone."""

    def given(self, columns: Mapping[str, str], rows: Sequence[Row]) -> tuple[str, list[Any]]:
        """Return the clause that gives rows to a statement as the table ``given``, and its values.

        Args:
            columns: Names with their types.
        """

    def minutes(self, column: Sequence[int | None]) -> Any:
        """Return the ten minutes of a span as the table keeps them."""

    def close(self) -> None:
        """Close the connection."""


class SqliteDatabase:
    """A file; made where there is none."""

    broken: tuple[type[Exception], ...] = (sqlite3.IntegrityError, OverflowError)
    failing: tuple[type[Exception], ...] = (sqlite3.OperationalError, sqlite3.DatabaseError)

    def __init__(self, path: Path) -> None:
        self.life = secrets.token_hex(8)
        path.parent.mkdir(parents=True, exist_ok=True)
        self._connection = connect_writer(path)
        if not self.ask("SELECT 1 FROM sqlite_schema"):
            with self.transaction():
                for statement in tables.sqlite_tables():
                    self.run(statement)
        while (version := self.ask("SELECT version FROM hub")[0][0]) < tables.VERSION:
            with self.transaction():
                for statement in tables.sqlite_upgrade(version):
                    self.run(statement)

    def ask(self, statement: str, given: Sequence[Any] = ()) -> list[Row]:
        return self._connection.execute(statement, given).fetchall()

    def run(self, statement: str, given: Sequence[Any] = ()) -> int:
        return self._connection.execute(statement, given).rowcount

    def many(self, statement: str, rows: Iterable[Sequence[Any]]) -> None:
        self._connection.executemany(statement, rows)

    @contextmanager
    def transaction(self) -> Iterator[None]:
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            yield
            self._connection.execute("COMMIT")
        except sqlite3.DatabaseError as fault:
            if isinstance(fault, self.broken):
                raise
            raise HubFullError(f"the hub's database refuses: {fault}. {LOOK}") from None
        finally:
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")

    @contextmanager
    def attempt(self) -> Iterator[None]:
        self._connection.execute("SAVEPOINT attempt")
        try:
            yield
        except BaseException:
            self._connection.execute("ROLLBACK TO attempt")
            raise
        finally:
            self._connection.execute("RELEASE attempt")

    def given(self, columns: Mapping[str, str], rows: Sequence[Row]) -> tuple[str, list[Any]]:
        marks = ", ".join([f"({', '.join('?' * len(columns))})"] * len(rows))
        clause = f"WITH given ({', '.join(columns)}) AS (VALUES {marks})"
        return clause, [value for row in rows for value in row]

    def minutes(self, column: Sequence[int | None]) -> str:
        return json.dumps(column)

    def close(self) -> None:
        self._connection.close()
