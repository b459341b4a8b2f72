"""Rows out of the pages of a damaged file, held against SQLite's own reading of a sound one."""

from __future__ import annotations

import random
import sqlite3
import tempfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitlogger.model.journal import Noted
from pitlogger.store import Reader, Store, Trouble
from pitlogger.store.connection import PAGE_BYTES, connect_writer
from pitlogger.store.mending.damage import _rows
from pitlogger.store.mending.pages import rows_in
from pitlogger.store.mending.rescue import rescued
from tests.store.conftest import WAIT_S, entry, reading, run_row, started

ENTRIES = 300
CELL = st.none() | st.integers(-(1 << 63), (1 << 63) - 1) | st.text(max_size=40) | st.binary()
LONG = st.builds(lambda text, n: text * n, st.text(min_size=1, max_size=9), st.integers(0, 2000))
ROWS = st.lists(st.tuples(st.integers(0, 1 << 40), CELL, CELL | LONG), max_size=30)


@settings(deadline=None, max_examples=50)  # each writes a file
@given(ROWS)
def test_every_row_of_a_sound_file_is_read_as_sqlite_reads_it(rows: list[Any]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "any.db"
        with closing(connect_writer(path)) as connection:
            connection.execute("PRAGMA journal_mode=DELETE")
            connection.execute("PRAGMA synchronous=OFF")
            connection.execute("CREATE TABLE with_id (id INTEGER PRIMARY KEY, a, b)")
            connection.execute("CREATE TABLE without (id INTEGER PRIMARY KEY, a, b) WITHOUT ROWID")
            for table in ("with_id", "without"):
                connection.executemany(f"INSERT OR REPLACE INTO {table} VALUES (?, ?, ?)", rows)
            kept = set(connection.execute("SELECT * FROM with_id"))
        found = list(rows_in(path.read_bytes()))
    with_id = {(row.rowid, *row.values[1:]) for row in found if row.values[0] is None}
    without = {row.values for row in found if row.rowid is None and len(row.values) == 3}
    assert with_id >= kept
    assert without == kept


@given(st.binary(max_size=3 * PAGE_BYTES), st.integers(0, 255))
def test_bytes_that_are_no_file_give_rows_or_nothing(data: bytes, kind: int) -> None:
    page = bytes([kind]) + data
    list(rows_in(page + bytes(-len(page) % PAGE_BYTES)))


@pytest.mark.parametrize("following", [0, 99])
def test_a_long_row_whose_next_page_is_none_of_the_file_is_left_out(
    tmp_path: Path, following: int
) -> None:
    path = tmp_path / "any.db"
    with closing(connect_writer(path)) as connection:
        connection.execute("PRAGMA journal_mode=DELETE")
        connection.execute("CREATE TABLE long (id INTEGER PRIMARY KEY, a)")
        connection.execute("INSERT INTO long VALUES (1, ?)", ("x" * 10_000,))
    sound = path.read_bytes()
    is_long = [len(str(row.values[-1])) >= 10_000 for row in rows_in(sound)]
    assert is_long.count(True) == 1
    leaf = sound[PAGE_BYTES : 2 * PAGE_BYTES]
    at = PAGE_BYTES + leaf.rindex((3).to_bytes(4, "big"))
    damaged = sound[:at] + following.to_bytes(4, "big") + sound[at + 4 :]
    assert len(list(rows_in(damaged))) == len(is_long) - 1


def a_night(path: Path) -> None:
    with Store.open(path, run_row()) as store:
        store.append([started(1, "may")]).result(WAIT_S)
        for number in range(2, ENTRIES + 1):
            note = entry(number, Noted(f"note {number} " + "x" * 60), cook="may")
            fresh = [reading(number * 10 + second) for second in range(10)]
            store.append([note], fresh).result(WAIT_S)


def overwrite(path: Path, pages: list[int], dice: random.Random) -> None:
    with path.open("r+b") as file:
        for page in pages:
            file.seek((page - 1) * PAGE_BYTES)
            file.write(dice.randbytes(PAGE_BYTES))


def test_a_sound_file_is_rescued_whole(path: Path) -> None:
    a_night(path)
    found: dict[str, set[Any]] = {}
    for table, _, rows in rescued(path):
        found.setdefault(table, set()).update(rows)
    with closing(sqlite3.connect(path)) as connection:
        for table in ("run", "channel", "journal", "packed", "rollup"):
            assert found[table] >= set(connection.execute(f"SELECT * FROM {table}")), table


@pytest.mark.parametrize("lost", ["sqlite_schema", "journal", "run"])
def test_what_lies_behind_a_damaged_root_is_saved(
    opened: Callable[..., Store], path: Path, troubles: list[Trouble | None], lost: str
) -> None:
    a_night(path)
    with closing(sqlite3.connect(path)) as connection:
        roots = dict(connection.execute("SELECT name, rootpage FROM sqlite_schema"))
    overwrite(path, [1 if lost == "sqlite_schema" else roots[lost]], random.Random(1))
    store = opened("run-2", row=run_row("run-2"))
    store.append([entry(1, run="run-2")]).result(WAIT_S)
    assert store._salvaging is not None
    store._salvaging.join(WAIT_S)
    assert troubles[-1] is None
    with store.reader() as reader:
        assert len(reader.entries(run="run-1")) >= 0.97 * ENTRIES
        assert sum(1 for _ in reader.readings(None, 0, 1 << 60)) >= 0.99 * 10 * (ENTRIES - 1)
        assert [(cook.id, cook.finished_ms) for cook in reader.cooks()] == [("may", None)]
        assert {run.run for run in reader.runs()} == {"run-1", "run-2"}
        assert reader.facts()["sound"] is True


@pytest.mark.parametrize("seed", range(4))
def test_a_sixth_of_all_pages_gone_takes_about_a_sixth_of_the_entries(
    opened: Callable[..., Store], path: Path, seed: int
) -> None:
    a_night(path)
    dice = random.Random(seed)
    pages = path.stat().st_size // PAGE_BYTES
    overwrite(path, dice.sample(range(2, pages + 1), pages // 6), dice)
    store = opened("run-2", row=run_row("run-2"))
    store.flush().result(WAIT_S)
    assert store._salvaging is not None
    store._salvaging.join(WAIT_S)
    with Reader.open(path) as reader:
        saved = [kept.seq for kept in reader.entries(run="run-1")]
    assert len(saved) >= 0.6 * ENTRIES
    assert saved == sorted(set(saved))


def test_salvage_that_was_cut_short_goes_on_at_the_next_start(
    opened: Callable[..., Store], path: Path
) -> None:
    a_night(path)
    path.rename(path.with_name(f"{path.name}.damaged-20260704T120000"))
    for run in ("run-2", "run-3"):
        with opened(run, row=run_row(run)) as store:
            store.flush().result(WAIT_S)
            if run == "run-2":
                assert store._salvaging is not None
                store._salvaging.join(WAIT_S)
            else:  # it was read to its end
                assert store._salvaging is None
            with store.reader() as reader:
                assert reader.last_seq("run-1") == ENTRIES


def test_rows_before_and_behind_a_damaged_page_are_read(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE note (id INTEGER PRIMARY KEY, text TEXT)")
        connection.executemany(
            "INSERT INTO note VALUES (?, ?)", ((number, "x" * 90) for number in range(1, 4001))
        )
        connection.commit()
    with path.open("r+b") as file:
        file.seek(50 * 4096)  # pages as SQLite makes them unless told
        file.write(b"\xff" * 4096)
    with closing(sqlite3.connect(path)) as connection:
        seen = {row[0] for _, _, rows in _rows(connection, "note", ("id",)) for row in rows}
    assert {1, 4000} <= seen
    assert 3900 < len(seen) < 4000
