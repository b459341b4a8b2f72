"""What there is to say of a database file, for a person who wonders."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from pitlogger.errors import StoreError
from pitlogger.store.backup import backups_in
from pitlogger.store.connection import connect_reader
from pitlogger.store.mending.damage import damaged_files
from pitlogger.store.mending.journal_check import aside_of, check_journal
from pitlogger.store.migrations import version
from pitlogger.store.queries import facts


def examine(path: Path, backups: Path) -> dict[str, Any]:
    """Return sizes, counts, soundness, backups and what damage left behind.

    Raises:
        StoreError: There is no file, or it is another program's.
    """
    if not path.is_file():
        raise StoreError(f"there is no database at {path}; it is made when the daemon first runs")
    document: dict[str, Any] = {
        "database": str(path),
        "sound": False,
        "faults": [],
        "size_bytes": path.stat().st_size,
        "free_bytes": 0,
        "schema": 0,
        "sqlite": sqlite3.sqlite_version,
        "cooks": 0,
        "entries": 0,
        "readings": 0,
        "lost_readings": 0,
    }
    try:
        with closing(connect_reader(path)) as connection:
            version(connection)
            document |= facts(connection)
            document["faults"] = [*_whole(connection)]
            document["sound"] = not document["faults"]
    except sqlite3.Error as error:
        document["faults"] = [str(error)]
    readings = document["readings"]
    return document | {
        "bytes_per_reading": document["size_bytes"] / readings if readings else None,
        "disk_free_bytes": shutil.disk_usage(path.parent).free,
        "damaged_files": [str(found) for found in damaged_files(path)],
        "set_aside": str(aside) if (aside := aside_of(path)).exists() else None,
        "backups": [str(found) for found in backups_in(backups)],
    }


def _whole(connection: sqlite3.Connection) -> Iterator[str]:
    """Yield what is wrong with pages, indexes and journal, each in a sentence."""
    for (text,) in connection.execute("PRAGMA integrity_check(20)"):
        if text != "ok":
            yield str(text)
    for fault in check_journal(connection, lambda: False):
        what = "is missing" if fault.reason == "gap" else f"is damaged ({fault.reason})"
        where = f"before {fault.id}" if fault.reason == "gap" else fault.id
        yield f"entry {where} {what}; the next start of the daemon mends or sets it aside"
