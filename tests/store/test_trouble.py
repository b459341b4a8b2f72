"""A disk that refuses loses nothing but what is counted, and the person is told."""

from __future__ import annotations

import resource
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from pitlogger.errors import StoreError
from pitlogger.model.journal import Noted
from pitlogger.store import JournalRow, Store, Trouble
from pitlogger.store.troubles import describe, slow
from tests.store.conftest import WAIT_S, entry, reading


def on_disk(store: Store, statement: str) -> None:
    """Run a statement on the writer's own connection, as only a test may."""
    assert store._writer._sink is not None
    store._writer._sink.connection.execute(statement).fetchall()


def long_entry(seq: int) -> JournalRow:
    return entry(seq, Noted("x" * 20_000))


@pytest.fixture
def told() -> threading.Event:
    return threading.Event()


@pytest.fixture
def failing(
    opened: Callable[..., Store], troubles: list[Trouble | None], told: threading.Event
) -> Callable[..., Store]:
    """Open a store that sets ``told`` at every trouble."""

    def open_store(**options: object) -> Store:
        store = opened(**options)
        store._writer._on_trouble = lambda trouble: (troubles.append(trouble), told.set())  # type: ignore[assignment,func-returns-value]
        store.append([entry(1)]).result(WAIT_S)
        return store

    return open_store


REFUSALS = {
    "the disk is full": ("PRAGMA max_page_count=1", "PRAGMA max_page_count=4294967294"),
    "the disk or the database file is read-only": ("PRAGMA query_only=ON", "PRAGMA query_only=OFF"),
}


@contextmanager
def little_memory(data: int) -> Iterator[None]:
    """Let this process have no more than so many bytes beside what it has."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    held = int(status.partition("VmData:")[2].split()[0]) * 1024
    before = resource.getrlimit(resource.RLIMIT_DATA)
    resource.setrlimit(resource.RLIMIT_DATA, (held + data, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_DATA, before)


def test_entries_wait_while_there_is_no_memory_for_them(
    failing: Callable[..., Store], troubles: list[Trouble | None], told: threading.Event
) -> None:
    store = failing()
    big = entry(2, Noted("x" * 24_000_000))
    with little_memory(8_000_000):
        waiting = store.append([big], [reading(2)])
        assert told.wait(WAIT_S)
        assert not waiting.done()
    assert troubles[0] is not None
    assert troubles[0].message == "there is no memory left to write the database"
    assert "free -h" in troubles[0].remedy
    waiting.result(WAIT_S)
    store.flush().result(WAIT_S)  # the long entry may have been slow to write
    assert troubles[-1] is None
    with store.reader() as reader:
        assert reader.last_seq("run-1") == 2


@pytest.mark.parametrize("message", REFUSALS)
def test_entries_wait_in_memory_while_the_disk_refuses(
    failing: Callable[..., Store],
    troubles: list[Trouble | None],
    told: threading.Event,
    message: str,
) -> None:
    store = failing()
    refuse, allow = REFUSALS[message]
    on_disk(store, refuse)
    waiting = [store.append([long_entry(seq)], [reading(seq)]) for seq in (2, 3)]
    assert told.wait(WAIT_S)
    assert not any(future.done() for future in waiting)
    assert store.wait_s > 0
    trouble = troubles[0]
    assert trouble is not None
    assert trouble.message == message
    assert "kept in memory" in trouble.remedy
    assert (trouble.waiting_entries, trouble.lost_readings) in ((1, 0), (2, 0))
    on_disk(store, allow)
    for future in waiting:
        future.result(WAIT_S)
    store.flush().result(WAIT_S)
    assert troubles[-1] is None
    assert store.wait_s == 0
    with store.reader() as reader:
        assert [found.seq for found in reader.entries()] == [1, 2, 3]
        assert len(list(reader.readings(None, 0, 1 << 60))) == 2
        assert reader.lost() == []


def test_each_refusal_doubles_the_pause_up_to_ten_seconds(failing: Callable[..., Store]) -> None:
    writer = failing()._writer
    pauses: list[float] = []
    for _ in range(7):
        writer._failed(OSError(28, "No space left on device"), 0, 0)
        pauses.append(writer._backoff_s)
    assert pauses == [0.5, 1.0, 2.0, 4.0, 8.0, 10.0, 10.0]


def test_readings_given_up_are_counted_on_record(
    failing: Callable[..., Store], told: threading.Event
) -> None:
    store = failing(max_waiting=100)
    on_disk(store, "PRAGMA query_only=ON")
    entries = store.append([entry(2)])
    assert told.wait(WAIT_S)
    for second in range(30):
        store.add_readings([reading(second + part / 10) for part in range(10)])
    on_disk(store, "PRAGMA query_only=OFF")
    entries.result(WAIT_S)
    store.flush().result(WAIT_S)
    with store.reader() as reader:
        kept = len(list(reader.readings(None, 0, 1 << 60)))
        lost = reader.lost()
    assert kept == 100
    assert [row.readings for row in lost] == [200]
    assert lost[0].reason == "the disk or the database file is read-only"


def test_a_listener_that_fails_does_not_stop_the_writer(
    opened: Callable[..., Store], told: threading.Event
) -> None:
    store = opened()
    store.flush().result(WAIT_S)

    def fail(trouble: Trouble | None) -> None:
        told.set()
        raise RuntimeError("listener")

    store._writer._on_trouble = fail
    on_disk(store, "PRAGMA query_only=ON")
    waiting = store.append([entry(1)])
    assert told.wait(WAIT_S)
    on_disk(store, "PRAGMA query_only=OFF")
    waiting.result(WAIT_S)


def test_closing_a_failing_store_ends_and_tells_who_still_waits(
    failing: Callable[..., Store], told: threading.Event
) -> None:
    store = failing()
    on_disk(store, "PRAGMA query_only=ON")
    waiting = store.append([entry(2)])
    assert told.wait(WAIT_S)
    store.close()
    with pytest.raises(StoreError, match="not written"):
        waiting.result(WAIT_S)


def test_a_locked_database_is_explained(path: Path) -> None:
    with closing(sqlite3.connect(path)) as one, closing(sqlite3.connect(path, timeout=0)) as other:
        one.execute("BEGIN EXCLUSIVE")
        with pytest.raises(sqlite3.OperationalError) as locked:
            other.execute("CREATE TABLE t (a)")
    trouble = describe(locked.value, 1, 2, 3)
    assert "another program" in trouble.message
    assert (trouble.waiting_entries, trouble.waiting_readings, trouble.lost_readings) == (1, 2, 3)


def test_an_unheard_of_error_is_told_as_it_is() -> None:
    assert "strange" in describe(sqlite3.OperationalError("strange"), 0, 0, 0).message


def test_a_slow_disk_is_told_with_its_time() -> None:
    assert "3.2 s" in slow(3.21).remedy


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    from tests.store.conftest import run_row

    with pytest.raises(StoreError, match="cannot be opened"):
        Store.open(tmp_path / "file" / "pit.db", run_row())


def test_a_batch_longer_than_five_seconds_is_refused(tmp_path: Path) -> None:
    from tests.store.conftest import run_row

    with pytest.raises(StoreError, match="at most 5"):
        Store.open(tmp_path / "pit.db", run_row(), batch_s=6)
