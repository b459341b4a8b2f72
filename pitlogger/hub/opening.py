"""Opening a hub's database by its address: PostgreSQL, or a file."""

from __future__ import annotations

from pathlib import Path

from pitlogger.errors import PitloggerError, UsageError
from pitlogger.hub.database import Database, SqliteDatabase
from pitlogger.hub.tables import VERSION
from pitlogger.hub.writing import HubSink


def is_postgres(address: str) -> bool:
    """Return whether an address is one of PostgreSQL: a URL, or keywords such as host=...."""
    return address.startswith(("postgresql://", "postgres://")) or "=" in address


def open_sink(address: str, *, create: bool = False) -> HubSink:
    """Return what writes into a hub's database.

    Args:
        create: Whether tables are made, or brought up to this version.

    Raises:
        PitloggerError: It cannot be reached, is none yet, or is of another version.
    """
    if is_postgres(address):
        from pitlogger.hub.postgres import PostgresDatabase
        from pitlogger.hub.postgres_writing import PostgresSink

        postgres = PostgresDatabase(address)
        if create:
            postgres.create()
        elif postgres.ask("SELECT to_regclass('fleet.hub')::text") == [(None,)]:
            raise UsageError("this database holds no hub yet: pitlogger hub init")
        _check(postgres)
        return PostgresSink(postgres)
    path = Path(address)
    if not create and not path.exists():
        raise UsageError(f"{path} is not there: pitlogger hub init makes it")
    file = SqliteDatabase(path)
    _check(file)
    return HubSink(file)


def _check(database: Database) -> None:
    ((version,),) = database.ask("SELECT version FROM hub")
    if version < VERSION:
        raise PitloggerError(
            f"the hub's tables are of version {version}, this program wants {VERSION}:"
            " make a backup, then pitlogger hub init"
        )
    if version > VERSION:
        raise PitloggerError(
            f"the hub's tables are of version {version}, newer than this program knows"
            f" ({VERSION}): install the newer one"
        )
