"""The record for other hands: its tables and views by name, and search over what was written.

Both only read. sqlite-utils lists and converts tables; its full-text search (SQLite's FTS5)
works on a copy of the texts in memory, so that the file of the record keeps its shape.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, NamedTuple

from pitlogger.errors import UsageError, unknown
from pitlogger.store.connection import connect_reader

WRITTEN = ("noted", "meal-told", "corrective-taken", "undone", "corrected", "alert-acted",
           "stage-set", "cook-withdrawn", "learning-set")  # fmt: skip
_TEXTS = ("text", "reason", "cause", "control_restored", "prevention", "disposition")


class Listed(NamedTuple):
    """A table or view of the record."""

    name: str
    kind: str
    columns: tuple[str, ...]


class Found(NamedTuple):
    """A text that fits: the entry it stands in, its cook, its time in UTC, what it says."""

    id: str
    cook: str | None
    utc_ms: int
    kind: str
    text: str


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    from sqlite_utils import Database  # slow to load, and needed by nothing that stays running

    with closing(connect_reader(path)) as connection:
        yield Database(connection)


def listed(path: Path) -> list[Listed]:
    """Return the tables and views of a record, those made to be read by others first."""
    with _opened(path) as database:
        views = [(view, "view") for view in database.views]
        tables = [(table, "table") for table in database.tables]
        return [
            Listed(one.name, kind, tuple(column.name for column in one.columns))
            for one, kind in (*views, *tables)
            if not one.name.startswith("sqlite_")
        ]


def rows(path: Path, name: str, limit: int | None = None) -> list[dict[str, Any]]:
    """Return the rows of a table or view; bytes as hexadecimal digits.

    Raises:
        UsageError: No such table or view.
    """
    names = [one.name for one in listed(path)]
    if name not in names:
        raise UsageError(unknown("table or view", name, names))
    with _opened(path) as database:
        found = database[name].rows_where(limit=limit)
        return [
            {key: value.hex() if isinstance(value, bytes) else value for key, value in row.items()}
            for row in found
        ]


def search(path: Path, words: str, limit: int = 50) -> list[Found]:
    """Return what people wrote that holds all of these words, the best fitting first.

    Raises:
        UsageError: No word to search for.
    """
    from sqlite_utils import Database

    if not any(letter.isalnum() for letter in words):
        raise UsageError(f"'{words}' holds no word to search for")
    marks = ", ".join("?" * len(WRITTEN))
    with closing(connect_reader(path)) as connection:
        entries = connection.execute(
            "SELECT id, cook, utc_ms, kind, entry FROM journal_entry"
            f" WHERE kind IN ({marks})", WRITTEN,
        ).fetchall()  # fmt: skip
    texts = [
        Found(entry_id, cook, utc_ms, kind, _said(entry))
        for entry_id, cook, utc_ms, kind, entry in entries
    ]
    with closing(sqlite3.connect(":memory:")) as memory:
        table = Database(memory).table("written")
        table.insert_all(one._asdict() for one in texts if one.text)
        if not table.exists():
            return []
        table.enable_fts(["text"], tokenize="unicode61")
        hits = table.search(words.replace("\0", " "), quote=True, limit=limit)
        return [Found(*(row[name] for name in Found._fields)) for row in hits]


def _said(entry: str) -> str:
    """Return the texts a person wrote into an entry."""
    document = json.loads(entry)
    return " ".join(str(document[name]) for name in _TEXTS if document.get(name))
