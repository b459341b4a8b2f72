"""The hub's database on PostgreSQL 15 or newer, with psycopg 3 (the extra ``fleet``).

Everything lies in the schema ``fleet``. The journal is split by node, spans by month. Row-level
security shows a reader its own firm alone: without ``SET fleet.tenant`` nothing at all.
Source: PostgreSQL 15 manual, 5.8 (row security), 5.11 (partitioning), 14.4 (bulk loading).
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

from pitlogger.clock import ms_of
from pitlogger.errors import HubFullError, PitloggerError, UsageError
from pitlogger.hub import tables
from pitlogger.hub.database import LOOK, Row

try:
    import psycopg
    from psycopg import errors
except ImportError as missing:
    raise PitloggerError(
        "a hub on PostgreSQL needs psycopg: install pitlogger with its extra 'fleet'"
    ) from missing


IDLE_S = 1.0
FIRST_MS, LAST_MS = 946_684_800_000, 4_102_444_800_000  # 2000 to 2100, UTC


@lru_cache(512)
def _styled(statement: str) -> str:
    """Return a statement with psycopg's mark for what is given."""
    return statement.replace("%", "%%").replace("?", "%s")


class PostgresDatabase:
    """One connection to a server.

    Args:
        address: As PostgreSQL writes it: ``postgresql://user@host/database``, or a keyword string.
    """

    def __init__(self, address: str) -> None:
        self._address = address
        self._depth = 0
        self._used_s = 0.0
        try:
            self._connect()
        except psycopg.OperationalError as fault:
            raise PitloggerError(f"the hub's database cannot be reached: {fault}") from None
        self.broken: tuple[type[Exception], ...] = (
            errors.IntegrityError,
            errors.DataError,
            OverflowError,
        )
        self.failing: tuple[type[Exception], ...] = (errors.OperationalError,)
        self._months: set[int] = set()

    def _connect(self) -> None:
        self.connection = psycopg.connect(self._address, autocommit=True)
        self.connection.execute("SET search_path TO fleet, public")
        self.life = secrets.token_hex(8)

    @contextmanager
    def _open(self) -> Iterator[psycopg.Connection[Row]]:
        """Give the connection, made anew where it was lost, but never within a transaction."""
        try:
            if self._depth == 0 and not self._is_alive():
                self._connect()
            yield self.connection
        except psycopg.OperationalError as fault:
            if self._depth:
                raise  # undoes the whole transaction, which then says so
            raise HubFullError(f"the hub's database refuses: {fault}. {LOOK}") from None

    def _is_alive(self) -> bool:
        """Return whether the server is still there: asked where nothing was for a second."""
        last_s, self._used_s = self._used_s, time.monotonic()
        if self._used_s - last_s > IDLE_S and not self.connection.closed:
            with suppress(psycopg.OperationalError):
                self.connection.execute("SELECT 1")
        return not self.connection.closed

    def create(self) -> None:
        """Make the tables, where they are not there yet; harmless where they are.

        Raises:
            UsageError: This user of the database may not do all of it.
        """
        try:
            with self.connection.transaction():
                self.connection.execute("SELECT pg_advisory_xact_lock(705)")
                self.connection.execute("CREATE SCHEMA IF NOT EXISTS fleet")
                self._make_reader()
                self._make_tables()
        except errors.InsufficientPrivilege as fault:
            user = self.connection.info.user
            raise UsageError(
                f"user {user} of the database may not make the hub's tables and the role by which"
                f" each sees their own ({str(fault).splitlines()[0]}). Have the server's"
                " administrator make the database theirs and run in it: CREATE ROLE fleet_reader"
                f' NOLOGIN; GRANT fleet_reader TO "{user}"'
            ) from None

    def _make_reader(self) -> None:
        """Make the role that the page asks as, and let this user ask as it."""
        if not self.ask("SELECT 1 FROM pg_roles WHERE rolname = 'fleet_reader'"):
            self.run(tables.READER)
        try:
            with self.attempt():
                self.run("SET LOCAL ROLE fleet_reader")
                self.run("RESET ROLE")
        except errors.InsufficientPrivilege:  # its maker is no member by itself
            self.run("GRANT fleet_reader TO CURRENT_USER")

    def _make_tables(self) -> None:
        if self.ask("SELECT to_regclass('fleet.hub')::text") == [(None,)]:
            for statement in tables.postgres_tables():
                self.connection.execute(statement)
        while (version := self.ask("SELECT version FROM hub")[0][0]) < tables.VERSION:
            for statement in tables.postgres_upgrade(version):
                self.connection.execute(statement)

    def ask(self, statement: str, given: Sequence[Any] = ()) -> list[Row]:
        with self._open() as connection:
            return connection.execute(_styled(statement), given).fetchall()

    def run(self, statement: str, given: Sequence[Any] = ()) -> int:
        with self._open() as connection:
            return connection.execute(_styled(statement), given).rowcount

    def many(self, statement: str, rows: Iterable[Sequence[Any]]) -> None:
        if given := list(rows):
            with self.connection.cursor() as cursor:
                cursor.executemany(_styled(statement), given)

    @contextmanager
    def transaction(self) -> Iterator[None]:
        with self._open() as connection, connection.transaction():
            self._depth += 1
            try:
                yield
            finally:
                self._depth -= 1

    @contextmanager
    def attempt(self) -> Iterator[None]:
        with self.connection.transaction():  # inside another it is a savepoint
            yield

    def given(self, columns: Mapping[str, str], rows: Sequence[Row]) -> tuple[str, list[Any]]:
        lists = ", ".join(f"?::{kind}[]" for kind in columns.values())
        clause = f"WITH given AS (SELECT * FROM unnest({lists}) AS one ({', '.join(columns)}))"
        return clause, [list(column) for column in zip(*rows, strict=True)]

    def minutes(self, column: Sequence[int | None]) -> Sequence[int | None]:
        return column

    def make_months(self, block_ms: Iterable[int]) -> None:
        """Make the parts of the span table that these blocks fall into; commits.

        What lies outside 2000 to 2100, by a clock that is wrong, shares one part.
        """
        months = {_month(at) for at in set(block_ms) if FIRST_MS <= at < LAST_MS}
        months = {month for month in months if month[0] not in self._months}
        if not months:
            return
        with self.transaction():
            self.run("SELECT pg_advisory_xact_lock(706)")  # two ingesters may want the same
            for start_ms, end_ms in months:
                name = f"span_{datetime.fromtimestamp(start_ms / 1000, UTC):%Y_%m}"
                self.run(
                    f"CREATE TABLE IF NOT EXISTS {name} PARTITION OF span"
                    f" FOR VALUES FROM ({start_ms}) TO ({end_ms})"
                )
        self._months |= {start_ms for start_ms, _ in months}

    @contextmanager
    def seen_by(self, tenant: int, role: str, sites: str) -> Iterator[None]:
        """Ask as a member of a firm: the server shows no rows but those they may see.

        Args:
            sites: Numbers of sites, joined by commas; empty is all of the firm's.
        """
        with self.transaction():
            self.run("SET LOCAL ROLE fleet_reader")
            for name, value in (("tenant", str(tenant)), ("role", role), ("sites", sites)):
                self.ask("SELECT set_config(?, ?, true)", (f"fleet.{name}", value))
            yield

    def append(self, table: str, columns: Sequence[str], data: bytes) -> bool:
        """Copy rows into a table; return whether they are in, which none is if one was there."""
        try:
            with self.attempt():
                self._copy(table, columns, data)
        except errors.UniqueViolation:
            return False
        return True

    def load(self, table: str, columns: Sequence[str], data: bytes) -> None:
        """Copy rows into a table of this transaction alone, named ``loading_`` and the table."""
        self.connection.execute(
            f"CREATE TEMPORARY TABLE IF NOT EXISTS loading_{table}"
            f" (LIKE {table} INCLUDING DEFAULTS) ON COMMIT DELETE ROWS"
        )
        self._copy(f"loading_{table}", columns, data)

    def _copy(self, table: str, columns: Sequence[str], data: bytes) -> None:
        statement = f"COPY {table} ({', '.join(columns)}) FROM STDIN (FORMAT BINARY)"
        with self.connection.cursor() as cursor, cursor.copy(statement) as copy:
            copy.write(data)

    def close(self) -> None:
        self.connection.close()


def _month(t_ms: int) -> tuple[int, int]:
    """Return start and end of the month of a time, UTC milliseconds."""
    start = datetime.fromtimestamp(t_ms / 1000, UTC).replace(
        day=1, hour=0, minute=0, second=0, microsecond=0
    )
    year, month = (start.year + 1, 1) if start.month == 12 else (start.year, start.month + 1)
    end = start.replace(year=year, month=month)
    return ms_of(start), ms_of(end)
