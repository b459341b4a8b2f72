"""A file that was removed, moved or overlaid while it is open: noticed, and put back whole.

What is open goes on taking commits and answers that all is well; with its end all would be gone.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from pitlogger.files import sync
from pitlogger.store.backup import move_aside


def place_of(path: Path) -> tuple[int | None, int | None]:
    """Return the inodes of a database and of its write-ahead file, ``None`` where there is none."""
    return _inode(path), _inode(_wal_of(path))


def put_back(connection: sqlite3.Connection, path: Path, opened: int | None) -> str:
    """Write what an open connection holds to where it belongs; end the connection.

    Args:
        opened: Inode of the file that it opened there.

    Returns:
        What was done, in words.

    Raises:
        sqlite3.Error, OSError: It cannot be written; the connection is still open.
    """
    again = path.with_name(f"{path.name}.again")
    again.unlink(missing_ok=True)
    with closing(sqlite3.connect(again)) as copy:
        connection.backup(copy)
    sync(again)
    with suppress(sqlite3.Error):
        connection.close()
    said = "nothing is lost"
    if _inode(path) not in (None, opened):
        said = f"{said}, and what lay in its place is now at {move_aside(path, 'other')}"
    for rest in (_wal_of(path), path.with_name(f"{path.name}-shm")):
        rest.unlink(missing_ok=True)
    again.replace(path)
    sync(path.parent)
    return f"the record {path.name} was removed or replaced while in use; it is back: {said}"


def _wal_of(path: Path) -> Path:
    return path.with_name(f"{path.name}-wal")


def _inode(path: Path) -> int | None:
    try:
        return path.stat().st_ino
    except OSError:
        return None
