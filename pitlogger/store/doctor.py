"""What there is to say of a database file, for a person who wonders."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from pitlogger.errors import StoreError
from pitlogger.store.backup import backups_in
from pitlogger.store.connection import connect_reader
from pitlogger.store.damage import damaged_files
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
        "size_octets": path.stat().st_size,
        "free_octets": 0,
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
    except sqlite3.Error as error:
        document["faults"] = [str(error)]
    readings = document["readings"]
    return document | {
        "octets_per_reading": document["size_octets"] / readings if readings else None,
        "disk_free_octets": shutil.disk_usage(path.parent).free,
        "damaged_files": [str(found) for found in damaged_files(path)],
        "backups": [str(found) for found in backups_in(backups)],
    }
