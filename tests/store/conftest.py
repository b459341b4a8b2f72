"""A store in a temporary folder, and short ways to make what goes into it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from pitlogger.model.cooks import Cook
from pitlogger.model.journal import Body, CookFinished, CookStarted, Entry, Noted
from pitlogger.model.readings import Quality, Site, Tagged
from pitlogger.store import JournalRow, Reader, RunRow, Store, Trouble

START_MS = 1_790_000_400_000  # a whole number of ten-minute blocks
WAIT_S = 20  # a future that is not there by then never will be


def run_row(name: str = "run-1", start_ms: int = START_MS, **changes: object) -> RunRow:
    given = {"boot_id": "boot-1", "start_monotonic_ms": 5000, "version": "0.1", **changes}
    return RunRow(run=name, node="node-1", start_ms=start_ms, **given)  # type: ignore[arg-type]


def reading(
    t_s: float, value: int | None = 60_000, channel: str = "core", **changes: object
) -> Tagged:
    """Return a reading ``t_s`` seconds after the start of the run, its raw value the same."""
    whole = Tagged(
        channel, START_MS + round(t_s * 1000), value, value, Quality.GOOD, Site.CORE, "brisket-1"
    )
    return whole._replace(**changes)  # type: ignore[arg-type]


def entry(
    seq: int, body: Body | None = None, run: str = "run-1", key: str = "", cook: str | None = None
) -> JournalRow:
    said = body or Noted(f"note {seq}")
    return JournalRow.of(Entry(run, seq, START_MS + seq * 1000, said, "JD", key), cook)


def started(seq: int, cook: str, run: str = "run-1") -> JournalRow:
    return entry(seq, CookStarted(Cook(name=f"{cook} supper")), run, cook=cook)


def finished(seq: int, cook: str, run: str = "run-1") -> JournalRow:
    return entry(seq, CookFinished(f"{cook} supper"), run, cook=cook)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "pitlogger.db"


@pytest.fixture
def troubles() -> list[Trouble | None]:
    """What the store has told of trouble, in order."""
    return []


@pytest.fixture
def opened(path: Path, troubles: list[Trouble | None]) -> Iterator[Callable[..., Store]]:
    """Open stores by run name; those left open are closed after the test."""
    stores: list[Store] = []

    def open_store(run: str = "run-1", **options: object) -> Store:
        row = options.pop("row", None) or run_row(run)
        store = Store.open(path, row, on_trouble=troubles.append, **options)  # type: ignore[arg-type]
        stores.append(store)
        return store

    yield open_store
    for store in stores:
        store.close()


@pytest.fixture
def store(opened: Callable[..., Store]) -> Store:
    return opened()


@pytest.fixture
def reader(store: Store) -> Iterator[Reader]:
    store.flush().result(WAIT_S)
    with store.reader() as reader:
        yield reader
