"""A record that is removed, moved or overlaid under a running daemon comes back whole."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from pitlogger.model.journal import Noted
from pitlogger.store import Store
from pitlogger.store.connection import connect_reader
from pitlogger.store.entry_copies import EntryCopies, copies_of, read_copies
from pitlogger.store.mending.preparing import prepare
from tests.store.conftest import WAIT_S, entry, reading, run_row


def remove(path: Path) -> None:
    path.unlink()


def move(path: Path) -> None:
    path.rename(path.with_name("elsewhere.db"))


def remove_all(path: Path) -> None:
    for found in path.parent.glob(f"{path.name}*"):
        found.unlink()


def remove_log(path: Path) -> None:
    path.with_name(f"{path.name}-wal").unlink()


def overlay(path: Path) -> None:
    other = path.with_name("other.db")
    with closing(sqlite3.connect(other)) as connection:
        connection.execute("CREATE TABLE other (x)")
    other.replace(path)


@pytest.mark.parametrize("spoil", [remove, move, remove_all, remove_log, overlay])
def test_what_was_acknowledged_is_in_the_file_again(
    opened: Callable[..., Store], spoil: Callable[[Path], None]
) -> None:
    mended: list[str] = []
    store = opened(on_mended=mended.append)
    store.append([entry(1)], [reading(1)]).result(WAIT_S)
    for seq in (2, 4):  # twice: the file that was put back is watched too
        spoil(store.path)
        store.append([entry(seq)], [reading(seq)]).result(WAIT_S)
        store.append([entry(seq + 1)], [reading(seq + 1)]).result(WAIT_S)
        assert store.ask(lambda reader: reader.last_seq("run-1")).result(WAIT_S) == seq + 1
    assert len(mended) == 2
    assert "was removed or replaced while in use" in mended[0]
    assert ("other-" in mended[0]) is (spoil is overlay)
    store.close()
    with closing(connect_reader(store.path)) as file:
        assert file.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert file.execute("SELECT count(*) FROM journal").fetchall() == [(5,)]
    if spoil is remove_all:
        assert copies_of(store.path).exists()


def test_a_folder_that_is_gone_is_told_and_all_written_once_it_is_back(
    opened: Callable[..., Store], troubles: list[object]
) -> None:
    store = opened()
    store.append([entry(1)]).result(WAIT_S)
    folder = store.path.parent
    away = folder.with_name("away")
    folder.rename(away)
    waiting = store.append([entry(2)])
    with pytest.raises(TimeoutError):
        waiting.result(0.3)
    assert troubles, "somebody was told"
    away.rename(folder)
    waiting.result(WAIT_S)
    with store.reader() as reader:
        assert reader.last_seq("run-1") == 2


def test_of_many_entries_put_back_some_are_named_and_the_others_counted(
    opened: Callable[..., Store],
) -> None:
    store = opened()
    store.append([entry(seq) for seq in range(1, 10)]).result(WAIT_S)
    store.close()
    with closing(sqlite3.connect(store.path)) as file, file:
        file.execute("DELETE FROM journal")
    said = [words for words in prepare(store.path, store.path.parent).said if "missing" in words]
    assert len(said) == 1
    assert said[0].count(",") == 5  # six are named
    assert said[0].endswith(" and 3 more")


def test_a_run_after_a_damaged_record_has_a_number_that_none_before_had(
    opened: Callable[..., Store],
) -> None:
    for run in ("run-1", "run-2", "run-3"):
        store = opened(run)
        store.append([entry(1, run=run)]).result(WAIT_S)
        store.close()
    with closing(connect_reader(store.path)) as file:
        (last,) = file.execute("SELECT max(id) FROM run").fetchone()
    with store.path.open("r+b") as file:
        file.write(b"no header of a database" + bytes(77))
        file.seek(100)
        file.write(bytes(400))  # nor the table of tables
    found = prepare(store.path, store.path.parent)
    assert found.aside is not None
    assert found.number == last + 1


def test_copies_fill_a_file_of_a_quarter_megabyte_and_the_one_before_it_stays(path: Path) -> None:
    copies, current, before = EntryCopies(path, run_row()), copies_of(path), None
    ended = []
    for seq in range(1, 71):
        row = entry(seq, Noted("oak " * 2500))
        copies.keep([row])
        if before is not None and current.stat().st_ino != before.st_ino:
            ended.append(before.st_size)
            assert current.with_name(f"{current.name}.1").stat().st_ino == before.st_ino
        before = current.stat()
    copies.close()
    assert [0 <= size - 2**18 < 11_000 for size in ended] == [True, True]
    runs, kept = read_copies(path)
    assert [run.run for run in runs] == ["run-1"], "each file names its run"
    assert [copy.seq for copy in kept] == list(range(kept[0].seq, 71))
    assert 2**18 < sum(len(copy.text) for copy in kept) < 2**19 + 11_000
