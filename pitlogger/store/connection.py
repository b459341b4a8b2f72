"""Connections to the file, set up the same way everywhere."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

# By measurement (docs/store.md): the fewest bytes written an hour at the live load.
PAGE_BYTES = 2048
CHECKPOINT_PAGES = 1000
# A connection's pages. More fill slowly over days and read no faster: the kernel keeps them too.
CACHE_KB = 500
BUSY_S = 5.0


class Connection(sqlite3.Connection):
    """One whose faults are SQLite's own, whatever bytes stand in their words.

    The words of a fault hold the text of a damaged schema. Where that is no UTF-8 any more, the
    module raises ``UnicodeDecodeError``, and the damage would be taken for a fault of ours.
    """

    def execute(self, *given: Any) -> sqlite3.Cursor:
        try:
            return super().execute(*given)
        except UnicodeDecodeError as fault:
            words = fault.object.decode("utf-8", "replace")
            raise sqlite3.DatabaseError(words) from None


def connect_writer(path: Path) -> sqlite3.Connection:
    """Open the file for the one who writes, creating it if there is none.

    ``synchronous=FULL`` makes every commit wait for the disk. Freed pages are not
    overwritten with zeros, which would double what is written.
    """
    connection = sqlite3.connect(
        path, timeout=BUSY_S, isolation_level=None, check_same_thread=False, cached_statements=64,
        factory=Connection,
    )  # fmt: skip
    try:
        connection.execute(f"PRAGMA page_size={PAGE_BYTES}")
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("PRAGMA secure_delete=OFF")
        connection.execute(f"PRAGMA wal_autocheckpoint={CHECKPOINT_PAGES}")
        connection.execute("PRAGMA journal_size_limit=4194304")
        connection.execute(f"PRAGMA cache_size=-{CACHE_KB}")
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
        factory=Connection,
    )
    try:
        connection.text_factory = text_of  # one damaged character must not hide a whole table
        connection.execute("PRAGMA query_only=ON")
        connection.execute(f"PRAGMA cache_size=-{CACHE_KB}")
    except BaseException:
        connection.close()
        raise
    return connection


def text_of(content: bytes) -> str:
    """Return text as far as it can be read."""
    return content.decode("utf-8", "replace")
