"""What a start mends before anybody reads: the header, entries that are gone, recent ones damaged.

The rest of the file is checked beside the work (``soundness``).
"""

from __future__ import annotations

import logging
import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from pitlogger import __version__
from pitlogger.model.entry_ids import short_id
from pitlogger.store import records
from pitlogger.store.connection import connect_writer, text_of
from pitlogger.store.entry_copies import Copy, copies_of, read_copies, set_copies_aside
from pitlogger.store.mending.journal_check import aside_of, check_journal, mend_journal
from pitlogger.store.mending.soundness import after
from pitlogger.store.migrations import bring_up_to_date
from pitlogger.store.rows import RunRow
from pitlogger.store.schema import APPLICATION_ID
from pitlogger.store.troubles import is_about_host

log = logging.getLogger(__name__)

NEWEST_RUNS = 5
CHECK_S = 1.0
_OURS = {"run", "journal", "packed", "tail", "outbox", "snapshot"}
_NAMED = 6  # entries named by their id; of the others the number


def mend_header(path: Path, newest: int) -> str:
    """Put right whose file it is and which schema it has; return what to say, empty if nothing.

    A file that holds our tables is ours, whatever its header says; the tables say which schema.

    Args:
        newest: The newest schema this version knows.
    """
    if not path.is_file():
        return ""
    with suppress(sqlite3.Error), closing(connect_writer(path)) as connection:
        tables = {
            name for (name,) in connection.execute("SELECT name FROM sqlite_schema").fetchall()
        }
        if not tables >= _OURS:
            return ""
        said = []
        if connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
            connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
            said.append("whose it is")
        found: int = connection.execute("PRAGMA user_version").fetchone()[0]
        columns = {row[1] for row in connection.execute("PRAGMA table_info(run)").fetchall()}
        shape = 3 if "tag" in columns else 2 if "journal_kind" in tables else 1
        if found < shape or (found > newest == shape and _wrote_last(connection)):
            connection.execute(f"PRAGMA user_version={shape}")
            said.append("which schema it has")
        if said:
            return f"the header of the database did not say {' or '.join(said)}: it is mended"
    return ""


def _wrote_last(connection: sqlite3.Connection) -> bool:
    """Return whether this version had the file last: a later one enters its own runs first."""
    row = connection.execute("SELECT version FROM run ORDER BY id DESC LIMIT 1").fetchone()
    return row is not None and row[0] == __version__


def mend_schema(path: Path) -> list[str]:
    """Let tables, indexes and views be described as this version makes them.

    Returns:
        A sentence for each description that was damaged.

    Raises:
        sqlite3.DatabaseError: A table is gone, or the schema cannot be read.
    """
    with closing(sqlite3.connect(":memory:")) as model:
        bring_up_to_date(model, 0)
        wanted = _described(model)
    with closing(connect_writer(path)) as connection:
        found = _described(connection)
        wrong = {name: sql for name, sql in wanted.items() if found.get(name) != sql}
        if not wrong:
            return []
        connection.execute("PRAGMA writable_schema=ON")
        for (kind, name), sql in wrong.items():
            if (kind, name) in found:
                connection.execute(
                    "UPDATE sqlite_schema SET sql = ? WHERE type = ? AND name = ?",
                    (sql, kind, name),
                )
        connection.execute("PRAGMA writable_schema=RESET")
        for (kind, name), sql in wrong.items():
            if (kind, name) not in found:
                if kind == "table":
                    raise sqlite3.DatabaseError(f"the table {name} is gone")
                connection.execute(sql)
    return [f"the description of {kind} {name} was damaged and is mended" for kind, name in wrong]


def _described(connection: sqlite3.Connection) -> dict[tuple[str, str], str]:
    rows = connection.execute(
        "SELECT CAST(type AS BLOB), CAST(name AS BLOB), CAST(sql AS BLOB) FROM sqlite_schema"
        " WHERE sql IS NOT NULL"
    )
    return {(text_of(kind), text_of(name)): text_of(sql) for kind, name, sql in rows}


def put_back_missing(path: Path) -> list[str]:
    """Put entries back into the journal that it lacks, or that say something else, from copies.

    Returns:
        A sentence an entry, or one for many.
    """
    runs, copies = read_copies(path)
    if not copies:
        return []
    with closing(connect_writer(path)) as connection:
        missing = [copy for copy in copies if not _is_there(connection, copy)]
        if not missing:
            return []
        connection.execute("BEGIN IMMEDIATE")
        back = [copy for copy in missing if _put_back(connection, copy, runs)]
        records.refresh_cooks(connection, {cook for copy in back for cook in copy.cooks})
        connection.execute("COMMIT")
    said = []
    for words, some in (
        ("are put back from their copies", back),
        ("cannot be put back", [copy for copy in missing if copy not in back]),
    ):
        if some:
            names = [short_id(copy.run, copy.seq) for copy in some]
            more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
            listed = f"{', '.join(names[:_NAMED])}{more}"
            said.append(f"entries missing from the record or damaged in it {words}: {listed}")
    return said


def _is_there(connection: sqlite3.Connection, copy: Copy) -> bool:
    found = connection.execute(
        "SELECT CAST(entry AS BLOB) FROM journal JOIN run ON run.id = journal.run"
        " WHERE run.run = ? AND seq = ?",
        (copy.run, copy.seq),
    ).fetchone()
    return found is not None and found[0] == copy.text.encode()


def _put_back(connection: sqlite3.Connection, copy: Copy, runs: list[RunRow]) -> bool:
    """Enter a copy in the place of what is there; return whether that was possible."""
    connection.execute("SAVEPOINT one")
    try:
        named = next((run for run in runs if run.run == copy.run), None)
        if named is not None:
            records.begin_run(connection, named)
        number = records.run_number(connection, copy.run)
        connection.execute("DELETE FROM journal WHERE run = ? AND seq = ?", (number, copy.seq))
        records.append_entries(connection, [copy.row()])
    except Exception as fault:  # one that does not fit must not keep the others out
        if is_about_host(fault):
            raise
        log.error("entry %s cannot be put back: %s", short_id(copy.run, copy.seq), fault)
        connection.execute("ROLLBACK TO one")
        return False
    finally:
        with suppress(sqlite3.Error):
            connection.execute("RELEASE one")
    return True


def check_newest(path: Path) -> list[str]:
    """Check and mend the journal of the newest runs; return what to say of it."""
    with closing(connect_writer(path)) as connection:
        faults = list(check_journal(connection, after(CHECK_S), NEWEST_RUNS))
        if not faults:
            return []
        copies = {copy[:2]: copy for copy in read_copies(path)[1]}
        connection.execute("BEGIN IMMEDIATE")
        said = mend_journal(connection, faults, copies, aside_of(path))
        connection.execute("COMMIT")
    return said


def begin_anew(path: Path) -> None:
    """Set copies of another database aside where there is none yet: they are not of this one."""
    if not path.exists() and copies_of(path).exists():
        set_copies_aside(path)
