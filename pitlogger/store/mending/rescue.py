"""Which table a row out of a damaged file's pages belongs to: recognised by its shape."""

from __future__ import annotations

import json
import mmap
import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

from pitlogger.model.entry_ids import tag_of
from pitlogger.store.mending.pages import Row, Value, rows_in
from pitlogger.store.schema import IDENTITY, PARTS, TABLES

ROWS_AT_ONCE = 500
# Kinds of each column: i whole number, t text, b bytes, n nothing. A table with row ids keeps
# nothing in the column that is its row id.
_SHAPES = {
    "run": ("n", "t", "t", "t", "i", "i", "t", "i", "in", "t", "t", "t", "i"),
    "channel": ("n", "i", "t", "tn"),
    "clock": ("i", "i", "i", "i", "i"),
    "journal": ("i", "i", "i", "t", "t", "tn", "tn", "t", "b"),
    "packed": ("n", "i", "i", "i", "b", "i"),
    "tail": ("n", "i", "i", "i", "i", "b"),
    "rollup": ("i",) * 6 + ("in",) * 4 * PARTS,
    "lost": ("n", "i", "i", "i", "i", "t"),
    "outbox": ("t", "t", "t", "t", "i", "i", "i", "t", "i"),
}
_WITHOUT_ROWID = ("clock", "journal", "rollup")
# What rows written before a column was added read as there: SQLite does not write them anew.
_ADDED: dict[str, tuple[Value, ...]] = {"clock": (0,), "packed": (0,)}
_FIRST = ("run", "channel")

Batch = tuple[str, tuple[str, ...], list[tuple[Any, ...]]]


def rescued(damaged: Path) -> Iterator[Batch]:
    """Yield the rows of a damaged file, in batches, runs and channels first.

    A run whose own row is gone is made up from its journal.
    """
    with _mapped(damaged) as content:
        columns = _columns()
        found = list(_rows(content, _FIRST))
        runs = {row[0] for table, row in found if table == "run"}
        found += [("run", row) for row in _runs_told_of(content) if row[0] not in runs]
        for table in _FIRST:
            yield table, columns[table], [row for of, row in found if of == table]
        waiting: dict[str, list[tuple[Value, ...]]] = {}
        for table, row in _rows(content, tuple(name for name in _SHAPES if name not in _FIRST)):
            held = waiting.setdefault(table, [])
            held.append(row)
            if len(held) >= ROWS_AT_ONCE:
                yield table, columns[table], waiting.pop(table)
        for table, held in waiting.items():
            yield table, columns[table], held


def last_run_told_of(damaged: Path) -> int:
    """Return the greatest number of a run that a row of any page names, 0 if none does."""
    with _mapped(damaged) as content:
        numbers = [row[0] for _, row in _rows(content, ("run", "journal"))]
    return max((number for number in numbers if isinstance(number, int)), default=0)


def _mapped(path: Path) -> closing[Any]:
    if not path.stat().st_size:
        return closing(mmap.mmap(-1, 1))
    with path.open("rb") as file:
        return closing(mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ))


def _rows(content: Any, wanted: tuple[str, ...]) -> Iterator[tuple[str, tuple[Value, ...]]]:
    for row in rows_in(content):
        table = _table_of(row)
        if table in wanted:
            values = row.values if table in _WITHOUT_ROWID else _whole(row)
            lacking = len(_SHAPES[table]) - len(values)
            yield table, values + _ADDED.get(table, ())[:lacking] if lacking else values


def _whole(row: Row) -> tuple[Value, ...]:
    """Return a row with its row id where nothing is kept."""
    return row.values if row.values[0] is not None else (row.rowid, *row.values[1:])


def _table_of(row: Row) -> str:
    """Return the table of a row, nothing if it is none of ours."""
    kinds = "".join(map(_kind, row.values))
    for table, shape in _SHAPES.items():
        lacking = len(shape) - len(kinds)
        if (table in _WITHOUT_ROWID) is not (row.rowid is None):
            continue
        if not 0 <= lacking <= len(_ADDED.get(table, ())):
            continue
        shape = shape[: len(kinds)]  # noqa: PLW2901
        if all(kind in allowed for kind, allowed in zip(kinds, shape, strict=True)):
            return table if table != "journal" or _entry(row) is not None else ""
    return ""


def _kind(value: Value) -> str:
    if value is None:
        return "n"
    return "i" if isinstance(value, int) else "t" if isinstance(value, str) else "b"


def _entry(row: Row) -> dict[str, Any] | None:
    """Return a journal row's entry, ``None`` where it does not say what its columns say."""
    with suppress(ValueError, AttributeError):
        entry: dict[str, Any] = json.loads(str(row.values[7]))
        if (entry.get("seq"), entry.get("kind")) == (row.values[1], row.values[3]):
            return entry
    return None


def _runs_told_of(content: Any) -> Iterator[tuple[Value, ...]]:
    """Yield a row for each run that the journal names: its number, id and first moment."""
    spans: dict[tuple[int, str], list[int]] = {}
    for row in rows_in(content):
        if _table_of(row) == "journal" and (entry := _entry(row)) is not None:
            number, t_ms = row.values[0], row.values[2]
            if isinstance(number, int) and isinstance(t_ms, int):
                spans.setdefault((number, str(entry.get("run"))), []).append(t_ms)
    for (number, run), times in spans.items():
        # Without an end: it is given one at the next start.
        yield number, run, "", "", min(times), 0, "", 1, None, tag_of(run), "", "", 0


def _columns() -> dict[str, tuple[str, ...]]:
    with closing(sqlite3.connect(":memory:")) as model:
        for statement in (*TABLES, *IDENTITY):
            model.execute(statement)
        described = {
            table: model.execute(f"SELECT * FROM {table}").description for table in _SHAPES
        }
    return {table: tuple(column[0] for column in held) for table, held in described.items()}
