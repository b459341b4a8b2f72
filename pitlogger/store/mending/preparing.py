"""Before a file is opened for a run: mended where that is possible, else replaced."""

from __future__ import annotations

import logging
import os
import sqlite3
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

from pitlogger.errors import StoreError
from pitlogger.store.connection import connect_writer
from pitlogger.store.mending.damage import last_run, replace_file
from pitlogger.store.mending.healing import (
    begin_anew,
    check_newest,
    mend_header,
    mend_schema,
    put_back_missing,
)
from pitlogger.store.mending.soundness import FIRST_S, after, look_over
from pitlogger.store.migrations import VERSION, migrate
from pitlogger.store.troubles import is_damage, result_code

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Prepared:
    """What was found and done.

    Attributes:
        said: Sentences about what was damaged and is mended.
        aside: Where the damaged file lies, if it was replaced; the new one began as ``backup``.
        number: Of the run that begins, where a replaced file had others.
        is_looked_over: Whether every page was checked.
        fault: Why the file cannot be used now, as on a disk that is read-only; ``None`` if it can.
    """

    said: tuple[str, ...] = ()
    aside: Path | None = None
    backup: Path | None = None
    number: int | None = None
    is_looked_over: bool = False
    fault: Exception | None = None


def prepare(path: Path, backups: Path) -> Prepared:
    """Bring a file to the current schema, mended, or put a new one in its place.

    Raises:
        StoreError: Another program's file, made by a newer version, or a new one that cannot be
            made. What is there and cannot be read or written is no error: see ``fault``.
    """
    is_new = not path.exists()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        begin_anew(path)
        return _mended(path, backups)
    except (StoreError, MemoryError):
        raise
    except Exception as error:
        if not is_new and _is_file_s_fault(path, error):
            log.error("%s is damaged: %r", path, error)
            return _replaced(path, backups)
        if is_new and isinstance(error, OSError | sqlite3.Error):
            raise StoreError(
                f"the database {path} cannot be opened: {error}. Check that the folder exists"
                " and belongs to the user that runs pitlogger"
            ) from None
        log.error("%s cannot be opened now: %r", path, error)
        return Prepared(fault=error)


def _mended(path: Path, backups: Path) -> Prepared:
    said = [words] if (words := mend_header(path, VERSION)) else []
    migrate(path, backups)
    said += mend_schema(path)
    said += put_back_missing(path)
    said += check_newest(path)
    return Prepared(tuple(said), is_looked_over=look_over(path, after(FIRST_S)))


def _is_file_s_fault(path: Path, error: Exception) -> bool:
    """Return whether it is the file that is wrong, and not the disk or who runs this."""
    if isinstance(error, OSError):
        return False
    if isinstance(error, sqlite3.OperationalError) and not is_damage(error):
        is_writable = os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)
        return result_code(error) == sqlite3.SQLITE_READONLY and is_writable
    return True


def _replaced(path: Path, backups: Path) -> Prepared:
    try:
        aside, backup = replace_file(path, backups)
        said = put_back_missing(path)
    except (OSError, sqlite3.Error) as error:
        return Prepared(fault=error)
    number = None
    with suppress(sqlite3.Error, OSError):
        number = last_run(aside) + 1
    return Prepared(tuple(said), aside, backup, number)


def refuse_used(path: Path, run: str) -> None:
    """Refuse a run that a file knows already.

    Raises:
        StoreError: It does.
    """
    with suppress(sqlite3.Error), closing(connect_writer(path)) as connection:
        if connection.execute("SELECT 1 FROM run WHERE run = ?", (run,)).fetchone():
            raise StoreError(f"run '{run}' is already on record; a run id names one process life")
