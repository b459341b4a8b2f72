"""Whether a file is sound: looked over at the start, at length beside the work where it is big."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from pitlogger.store.connection import connect_reader
from pitlogger.store.troubles import result_code

FIRST_S = 0.3  # spent on it before the daemon is ready; a file of a few cooks takes less
_STEPS = 20_000  # of SQLite's machine between two looks at the time


def look_over(path: Path, gives_up: Callable[[], bool]) -> bool:
    """Check every page of a file; return whether that was finished.

    Args:
        gives_up: Asked now and then whether to stop.

    Raises:
        sqlite3.DatabaseError: The file is damaged.
        sqlite3.OperationalError: It cannot be read.
    """
    with closing(connect_reader(path)) as connection:
        connection.set_progress_handler(gives_up, _STEPS)
        try:
            found = connection.execute("PRAGMA quick_check(1)").fetchall()
        except sqlite3.OperationalError as error:
            if result_code(error) == sqlite3.SQLITE_INTERRUPT:
                return False
            raise
    if found != [("ok",)]:
        raise sqlite3.DatabaseError(str(found[0][0]))
    return True


def after(seconds: float) -> Callable[[], bool]:
    """Return what gives up after so many seconds."""
    end_s = time.monotonic() + seconds
    return lambda: time.monotonic() > end_s
