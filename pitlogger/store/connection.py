"""Connections to the file, set up the same way everywhere."""

from __future__ import annotations

import sqlite3
from pathlib import Path

# By measurement (docs/store.md): the fewest bytes written an hour at the live load.
PAGE_OCTETS = 2048
CHECKPOINT_PAGES = 1000
BUSY_S = 5.0


def connect_writer(path: Path) -> sqlite3.Connection:
    """Open the file for the one who writes, creating it if there is none.

    ``synchronous=FULL`` makes every commit wait for the disk. Freed pages are not
    overwritten with zeros, which would double what is written.
    """
    connection = sqlite3.connect(
        path, timeout=BUSY_S, isolation_level=None, check_same_thread=False, cached_statements=64
    )
    try:
        connection.execute(f"PRAGMA page_size={PAGE_OCTETS}")
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("PRAGMA secure_delete=OFF")
        connection.execute(f"PRAGMA wal_autocheckpoint={CHECKPOINT_PAGES}")
        connection.execute("PRAGMA journal_size_limit=4194304")
    except BaseException:
        connection.close()
        raise
    return connection


def connect_reader(path: Path) -> sqlite3.Connection:
    """Open the file for questions only; it must exist."""
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode=ro",
        uri=True,
        timeout=BUSY_S,
        isolation_level=None,
        check_same_thread=False,
    )
    try:
        connection.text_factory = _text  # one damaged character must not hide a whole table
        connection.execute("PRAGMA query_only=ON")
        connection.execute("PRAGMA cache_size=-4000")
    except BaseException:
        connection.close()
        raise
    return connection


def _text(content: bytes) -> str:
    return content.decode("utf-8", "replace")
