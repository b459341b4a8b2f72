"""Backups: made online, verified by opening and checking them, restored whole."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

from pitlogger.errors import StoreError
from pitlogger.files import sync
from pitlogger.store.connection import Connection, connect_reader
from pitlogger.store.entry_copies import set_copies_aside
from pitlogger.store.migrations import version
from pitlogger.store.troubles import result_code

SUFFIX = ".pitlogger.db"


def back_up(source: sqlite3.Connection, folder: Path, label: str = "backup") -> Path:
    """Copy an open database into ``folder`` while others write, and verify the copy.

    The copy is one consistent moment. It is named by the time and the label, appears under
    its name only once verified, and opens anywhere without a write-ahead file beside it.

    Raises:
        StoreError: No room, no right to write there, or the copy is not sound.
    """
    target = _free_name(folder, f"{_stamp()}-{label}")
    part = target.with_suffix(".part")
    with _explained(f"no backup was made in {folder}"):
        folder.mkdir(parents=True, exist_ok=True)
        _need_room(source, folder)
        try:
            with closing(sqlite3.connect(part)) as copy:
                source.backup(copy)
                copy.execute("PRAGMA journal_mode=DELETE")
            verify(part)
            sync(part)
            part.replace(target)
            sync(folder)
        finally:
            part.unlink(missing_ok=True)
    return target


def verify(path: Path) -> None:
    """Check that a file is a whole, sound pitlogger database.

    Raises:
        StoreError: It is missing, damaged, or something else.
    """
    if not path.is_file():
        raise StoreError(f"there is no file {path}; expected a backup made by pitlogger")
    try:
        with closing(connect_reader(path)) as connection:
            if version(connection) == 0:
                raise StoreError(f"{path} is an empty file; expected a backup made by pitlogger")
            found = connection.execute("PRAGMA integrity_check(3)").fetchall()
    except sqlite3.Error as error:
        raise StoreError(f"{path} cannot be read as a database: {error}") from None
    if found != [("ok",)]:
        raise StoreError(f"{path} is damaged: {found[0][0]}")


def restore(backup: Path, path: Path) -> Path | None:
    """Put a backup in the place of the database; return where the old file now lies.

    The daemon must not run. The present file is kept beside, under another name.

    Raises:
        StoreError: The backup is not sound or does not fit, or the database is in use.
    """
    verify(backup)
    with _explained(f"{backup} was not restored"):
        part = path.with_name(path.name + ".part")
        shutil.copyfile(backup, part)
        sync(part)
        refuse_if_in_use(path)
        old = move_aside(path, "before-restore") if path.exists() else None
        part.replace(path)
        set_copies_aside(path)  # else the next start would put later entries back into it
        sync(path.parent)
    return old


def move_aside(path: Path, label: str) -> Path:
    """Rename a database with its write-ahead file; return its new name."""
    target = path.with_name(f"{path.name}.{label}-{_stamp()}")
    path.rename(target)
    journal = path.with_name(path.name + "-wal")
    if journal.exists():
        journal.rename(target.with_name(target.name + "-wal"))
    path.with_name(path.name + "-shm").unlink(missing_ok=True)
    return target


def backups_in(folder: Path) -> list[Path]:
    """Return the backups of a folder, the newest first."""
    return sorted(folder.glob(f"*{SUFFIX}"), reverse=True)


def newest_sound(folder: Path) -> Path | None:
    """Return the newest backup that passes its check, ``None`` if there is none."""
    for path in backups_in(folder):
        try:
            verify(path)
        except StoreError:
            continue
        return path
    return None


def keep_newest(folder: Path, count: int) -> None:
    """Delete all but the ``count`` newest backups made by hand or by the clock.

    Those made before a migration stay.
    """
    made = [path for path in backups_in(folder) if "before-schema" not in path.name]
    for path in made[count:]:
        path.unlink(missing_ok=True)


def _stamp() -> str:
    return datetime.now(UTC).strftime("%Y%m%dT%H%M%S.%f")


def _free_name(folder: Path, stem: str) -> Path:
    """Return a name nobody uses yet; names in order of time are in order of the alphabet."""
    target, count = folder / f"{stem}{SUFFIX}", 1
    while target.exists():
        count += 1
        target = folder / f"{stem}-{count}{SUFFIX}"
    return target


def _need_room(source: sqlite3.Connection, folder: Path) -> None:
    pages = source.execute("PRAGMA page_count").fetchone()[0]
    needed = pages * source.execute("PRAGMA page_size").fetchone()[0]
    free = shutil.disk_usage(folder).free
    if free < needed + (1 << 20):
        raise StoreError(
            f"no backup was made: {folder} has {free / 1e6:.0f} MB free and the database"
            f" needs {needed / 1e6:.0f} MB. Free some space or name another folder"
        )


def refuse_if_in_use(path: Path) -> None:
    """Refuse to touch a database that a daemon has open.

    Raises:
        StoreError: It is in use.
    """
    if not path.exists():
        return
    try:
        with closing(sqlite3.connect(path, timeout=0.2, factory=Connection)) as connection:
            connection.execute("PRAGMA locking_mode=EXCLUSIVE")
            connection.execute("BEGIN EXCLUSIVE")
            connection.execute("ROLLBACK")
    except sqlite3.OperationalError as error:
        if result_code(error) == sqlite3.SQLITE_BUSY:
            raise StoreError(f"{path} is in use: stop the daemon first") from None
    except sqlite3.DatabaseError:
        return  # damaged: that is why somebody restores


@contextmanager
def _explained(what: str) -> Iterator[None]:
    try:
        yield
    except (OSError, sqlite3.Error) as error:
        raise StoreError(f"{what}: {error}") from None
