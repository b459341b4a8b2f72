"""Backups are sound or not there; damage is moved aside."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from pitlogger.errors import StoreError
from pitlogger.model.journal import Noted
from pitlogger.store import Reader, Store, Trouble
from pitlogger.store.backup import back_up, keep_newest, newest_sound, restore, verify
from pitlogger.store.connection import PAGE_BYTES, connect_writer
from pitlogger.store.records import begin_run
from pitlogger.store.retention import compact
from tests.store.conftest import WAIT_S, entry, finished, reading, run_row, started

FOR_EVER_MS = 1 << 60


def spoil(path: Path, start: int, data: int = PAGE_BYTES) -> None:
    """Overwrite a part of a file."""
    with path.open("r+b") as file:
        file.seek(start)
        file.write(b"\xa5" * data)


def a_night(store: Store, run: str = "run-1", entries: int = 300) -> None:
    store.append([entry(seq, Noted("n" * 100), run) for seq in range(1, entries + 1)])
    store.append(readings=[reading(second) for second in range(3000)]).result(WAIT_S)


def test_a_backup_made_while_writing_goes_on_is_a_database(store: Store, tmp_path: Path) -> None:
    a_night(store)
    made = store.backup(tmp_path / "stick").result(WAIT_S)
    store.append([entry(301)]).result(WAIT_S)
    assert not list(made.parent.glob("*-wal"))
    with Reader.open(made) as reader:
        assert len(reader.entries()) == 300
        assert len(list(reader.readings(None, 0, 1 << 60))) == 3000


def test_only_the_newest_backups_are_kept(store: Store, tmp_path: Path) -> None:
    made = [store.backup(keep=2).result(WAIT_S) for _ in range(3)]
    assert [path.exists() for path in made] == [False, True, True]
    keep_newest(made[0].parent, 1)
    assert newest_sound(made[0].parent) == made[2]


def test_a_backup_into_no_folder_is_refused_and_leaves_nothing(
    store: Store, tmp_path: Path
) -> None:
    (tmp_path / "stick").write_text("")
    with pytest.raises(StoreError, match="no backup was made"):
        store.backup(tmp_path / "stick").result(WAIT_S)


def test_a_restored_backup_takes_the_place_of_the_database(
    opened: Callable[..., Store], path: Path
) -> None:
    with opened("run-1") as store:
        a_night(store)
        made = store.backup().result(WAIT_S)
        store.append([entry(999)])
    old = restore(made, path)
    assert old is not None
    assert old.exists()
    with opened("run-2").reader() as reader:
        assert reader.last_seq("run-1") == 300


def test_a_database_in_use_is_not_replaced(store: Store, path: Path) -> None:
    store.append([entry(1)]).result(WAIT_S)
    made = store.backup().result(WAIT_S)
    with pytest.raises(StoreError, match="in use"):
        restore(made, path)


@pytest.mark.parametrize("content", [b"", b"not a database at all" * 100])
def test_a_file_that_is_no_backup_is_refused(tmp_path: Path, path: Path, content: bytes) -> None:
    (tmp_path / "other").write_bytes(content)
    with pytest.raises(StoreError, match=r"empty file|cannot be read"):
        restore(tmp_path / "other", path)
    assert not path.exists()


def test_a_damaged_backup_is_refused(store: Store) -> None:
    a_night(store)
    made = store.backup().result(WAIT_S)
    spoil(made, 30 * PAGE_BYTES, 6 * PAGE_BYTES)
    with pytest.raises(StoreError, match=r"damaged|cannot be read"):
        verify(made)
    assert newest_sound(made.parent) is None


def test_another_programs_database_is_left_alone(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE theirs (x)")
    before = path.read_bytes()
    with pytest.raises(StoreError, match="another program"):
        Store.open(path, run_row())
    assert path.read_bytes()[96:] == before[96:]


def test_a_database_of_a_newer_version_is_refused(opened: Callable[..., Store], path: Path) -> None:
    opened("run-1").close()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA user_version=99")
    with pytest.raises(StoreError, match="schema 99"):
        opened("run-2")


def test_damage_met_on_opening_is_moved_aside_and_salvaged(
    opened: Callable[..., Store], path: Path, troubles: list[Trouble | None]
) -> None:
    with opened("run-1") as store:
        a_night(store)
    spoil(path, 0, 100)
    store = opened("run-2")
    store.append([entry(1, run="run-2")]).result(WAIT_S)
    assert store._salvaging is not None
    store._salvaging.join(WAIT_S)
    assert troubles[0] is not None
    assert "damaged" in troubles[0].message
    assert troubles[-1] is None
    assert list(path.parent.glob("*.damaged-*"))
    with store.reader() as reader:
        assert reader.last_seq("run-1") == 300
        assert len(list(reader.readings(None, 0, 1 << 60))) == 3000
        assert [row.run for row in reader.runs()] == ["run-1", "run-2"]
        assert reader.facts()["sound"] is True


def test_what_damage_took_comes_back_from_the_backup(
    opened: Callable[..., Store], path: Path
) -> None:
    with opened("run-1") as store:
        a_night(store)
        store.backup().result(WAIT_S)
        store.append([entry(301)]).result(WAIT_S)
    size = path.stat().st_size
    spoil(path, 0, size)
    with opened("run-2") as store:
        store.append([entry(1, run="run-2")]).result(WAIT_S)
    with opened("run-3").reader() as reader:
        assert reader.last_seq("run-1") == 301  # the last one from its copy
        assert reader.last_seq("run-2") == 1


def test_damage_met_while_writing_is_replaced_and_nothing_waiting_is_lost(
    opened: Callable[..., Store], path: Path, troubles: list[Trouble | None]
) -> None:
    store = opened("run-1")
    a_night(store)
    sink = store._writer._sink
    assert sink is not None
    sink.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    sink.connection.execute("PRAGMA cache_size=0")
    root = sink.connection.execute(
        "SELECT rootpage FROM sqlite_schema WHERE name = 'journal'"
    ).fetchone()[0]
    spoil(path, (root - 1) * PAGE_BYTES)
    sink.connection.execute("PRAGMA shrink_memory")
    store.append([entry(301)], [reading(3001)]).result(WAIT_S)
    assert store._salvaging is not None
    store._salvaging.join(WAIT_S)
    with store.reader() as reader:
        assert reader.entry("run-1", 301) is not None
        assert [r.t_ms for r in reader.readings(None, 0, 1 << 60)][-1] == reading(3001).t_ms
        assert reader.facts()["sound"] is True
    assert troubles


def test_compacting_gives_space_back(opened: Callable[..., Store], path: Path) -> None:
    with opened("run-1") as store:
        dice = random.Random(5)
        rows = [reading(second, dice.randrange(10**6)) for second in range(9000)]
        store.append([started(1, "may")], rows)
        store.append([finished(9000, "may")]).result(WAIT_S)
    with opened("run-2") as store:
        assert store.thin_before(FOR_EVER_MS).result(WAIT_S) > 0
    assert compact(path) > 0
    verify(path)


def test_a_backup_needs_room(
    opened: Callable[..., Store], path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened("run-1").close()
    usage = type("Usage", (), {"free": 10})
    monkeypatch.setattr("shutil.disk_usage", lambda folder: usage)
    with closing(connect_writer(path)) as connection, pytest.raises(StoreError, match="MB free"):
        back_up(connection, tmp_path / "stick")


def test_a_backup_makes_its_folders(
    opened: Callable[..., Store], path: Path, tmp_path: Path
) -> None:
    opened("run-1").close()
    with closing(connect_writer(path)) as connection:
        made = back_up(connection, tmp_path / "stick" / "kitchen")
    verify(made)


def test_a_run_keeps_the_number_it_had_unless_that_is_taken(
    opened: Callable[..., Store], path: Path
) -> None:
    opened("run-1").close()
    with closing(connect_writer(path)) as connection:
        assert begin_run(connection, run_row("run-9"), 9) == 9
        assert begin_run(connection, run_row("run-9"), 12) == 9  # it is there already
        assert begin_run(connection, run_row("run-5"), 5) not in (5, 9)  # below one that is taken
