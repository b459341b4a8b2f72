"""What a database error means to a person, and what to do about it."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from pitlogger.store.rows import Trouble

SLOW_COMMIT_S = 2.0
KEPT = (
    "Decisions and weighings are kept in memory and written as soon as it works again; do not"
    " switch the computer off meanwhile"
)
_KNOWN = {  # by SQLite's primary result code (sqlite.org, result and error codes)
    sqlite3.SQLITE_FULL: (
        "the disk is full", "Free some space on the disk that holds the database",
    ),
    sqlite3.SQLITE_READONLY: (
        "the disk or the database file is read-only",
        "Look at `dmesg`: a worn SD card often turns read-only; check the owner of the file",
    ),
    sqlite3.SQLITE_BUSY: (
        "another program keeps the database locked",
        "Close the other program that has the file open for writing",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "the database file cannot be opened",
        "Check that its folder exists, is mounted and belongs to the user of the service",
    ),
    sqlite3.SQLITE_IOERR: (
        "the disk fails to read or write",
        "Look at `dmesg`; make a backup to another disk and replace the card",
    ),
}  # fmt: skip

_NO_MEMORY = "there is no memory left to write the database"
_FREE_MEMORY = "End other programs on this computer; `free -h` shows what is left"


def result_code(error: BaseException) -> int:
    """Return SQLite's primary result code of an error, 0 of one that is not SQLite's."""
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF


def is_about_host(error: BaseException) -> bool:
    """Return whether an error is about the file, its disk or memory, not about what is written."""
    at_disk = type(error) in (sqlite3.OperationalError, sqlite3.DatabaseError)
    return at_disk or isinstance(error, OSError | MemoryError)


# What SQLite says where its schema no longer holds what ours does.
_SCHEMA_WORDS = (
    "no such table", "no such column", "malformed", "could not decode",
    "unsupported file format", "syntax error", "unrecognized token",
    "has no column",
)  # fmt: skip


def is_damage(error: Exception) -> bool:
    """Return whether the file itself is damaged (SQLITE_CORRUPT, SQLITE_NOTADB, or its schema)."""
    if type(error) is sqlite3.DatabaseError:
        return True
    text = str(error).casefold()
    return isinstance(error, sqlite3.OperationalError) and any(
        words in text for words in _SCHEMA_WORDS
    )


def describe(error: Exception, entries: int, readings: int, lost: int) -> Trouble:
    """Return the trouble that an error of the database amounts to."""
    if isinstance(error, MemoryError):
        return Trouble(_NO_MEMORY, f"{_FREE_MEMORY}. {KEPT}", entries, readings, lost)
    if known := _KNOWN.get(result_code(error)):
        message, remedy = known
        return Trouble(message, f"{remedy}. {KEPT}", entries, readings, lost)
    return Trouble(f"the database cannot be written: {error}", KEPT, entries, readings, lost)


def slow(took_s: float) -> Trouble:
    """Return the trouble of a disk that takes seconds for a commit."""
    return Trouble(
        "the disk is slow: writing takes seconds",
        f"The last write took {took_s:.1f} s. Another program may be using the disk, or the card"
        " is wearing out: make a backup and replace it. Nothing is lost so far",
    )


def damaged(aside: Path, backup: Path | None) -> Trouble:
    """Return the trouble of a file that was damaged and replaced."""
    begun = f"from the backup {backup.name}" if backup else "empty, as there was no sound backup"
    return Trouble(
        "the database was damaged and has been replaced",
        f"The damaged file lies at {aside}; a new one was begun {begun}, and what can be read of"
        " the old is being saved into it. Logging goes on. Damage comes from worn cards and bad"
        " power: make a backup to another disk and replace the card",
    )
