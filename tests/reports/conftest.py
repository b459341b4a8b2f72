"""A cook on record: two briskets of our own invention, weighed, read, corrected, alarmed."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC
from pathlib import Path

import pytest

from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.alerts import AlertState, Priority
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import (
    AlertChanged,
    Body,
    CheckMade,
    CookFinished,
    CookStarted,
    Corrected,
    Entry,
    Noted,
    SpotRead,
    StageSet,
    Weighed,
)
from pitlogger.model.readings import Quality, Site, Tagged
from pitlogger.reports.cook_record import CookRecord, Wall, among, build_record, load_record
from pitlogger.rules.messages import Units
from pitlogger.safety.policy import shipped_policy
from pitlogger.store.queries import Reader
from pitlogger.store.rows import JournalRow, RunRow
from pitlogger.store.store import Store

START_MS = 1_790_000_400_000  # 2026-09-21 14:20 UTC
MINUTE_MS, HOUR_MS = 60_000, 3_600_000
COOK_ID = "2026-09-21-142000-harvest-supper"
EVIL = "<script>alert(1)</script>"
COOK = f"""
[cook]
name = "harvest supper {EVIL}"
guests = 45
[[piece]]
id = "brisket-1"
cut = "brisket-packer"
lot = "L7"
[[piece]]
id = "brisket-2"
cut = "brisket-packer"
[[channel]]
id = "brisket-1/core"
site = "core"
piece = "brisket-1"
[[channel]]
id = "pit"
site = "pit"
[[channel]]
id = "bench"
site = "bench"
"""
UNITS = Units("F", "lb-oz")


def bodies() -> list[tuple[int, Body]]:
    """Return what was decided, with the minute."""

    def weighed(minute: int, piece: str, checkpoint: str, kg: float) -> tuple[int, Body]:
        at_ms = START_MS + minute * MINUTE_MS
        return minute, Weighed(piece, checkpoint, round(kg * 1e6), 0, at_ms, interval_mg=5000)

    def stage(minute: int, piece: str, name: Stage) -> tuple[int, Body]:
        return minute, StageSet(piece, name, START_MS + minute * MINUTE_MS)

    low = AlertChanged(
        "pit-low/pit", "pit-low", AlertState.NORMAL, AlertState.UNACKNOWLEDGED, Priority.MEDIUM,
        True, None, "pit", 96_000, "c", "pit at 205 F, under 210 F", "Look at fuel.",
    )  # fmt: skip
    return [
        (0, CookStarted(parse_cook(COOK))),
        weighed(5, "brisket-1", "purchased", 6.4),
        weighed(6, "brisket-2", "purchased", 5.95),
        stage(30, "brisket-1", Stage.SMOKING),
        stage(30, "brisket-2", Stage.SMOKING),
        (200, low),
        (205, AlertChanged("pit-low/pit", "pit-low", AlertState.UNACKNOWLEDGED,
                           AlertState.ACKNOWLEDGED, Priority.MEDIUM)),
        stage(360, "brisket-1", Stage.WRAPPED),
        weighed(361, "brisket-1", "at-wrap", 4.8),
        weighed(362, "brisket-2", "at-wrap", 4.5),
        (370, SpotRead(71_000, START_MS + 370 * MINUTE_MS, "brisket-1", probe="probe-2")),
        (371, Corrected("run-1", 10, Weighed(
            "brisket-2", "at-wrap", 4_400_000, 0, START_MS + 362 * MINUTE_MS), "misread")),
        (372, Corrected("run-1", 3, Weighed(
            "brisket-2", "purchased", 5_900_000, 0, START_MS + 6 * MINUTE_MS), "purge poured off")),
        stage(600, "brisket-1", Stage.RESTING),
        weighed(660, "brisket-1", "carved", 3.6),
        weighed(661, "brisket-2", "carved", 3.2),
        (665, Noted("=SUM(A1)", "brisket-1")),
        (670, CheckMade("brisket-1/core", "ice", 300, 1000, True, "ice point")),
        (720, CookFinished("harvest supper")),
    ]  # fmt: skip


def entries() -> list[Entry]:
    return [
        Entry("run-1", seq, START_MS + minute * MINUTE_MS, body, "MK" if seq % 2 else "JD")
        for seq, (minute, body) in enumerate(bodies(), start=1)
    ]


def readings() -> list[Tagged]:
    """Return a reading a minute; the core's probe is silent from minute 400 to 420."""
    made = []
    for minute in range(10, 720):
        t_ms = START_MS + minute * MINUTE_MS
        core = 5_000 + min(90_000, minute * 150)
        made.append(Tagged("pit", t_ms, 115_000, 115_000, Quality.GOOD, Site.PIT, None))
        if not 400 < minute < 420:
            made.append(
                Tagged("brisket-1/core", t_ms, core, core, Quality.GOOD, Site.CORE, "brisket-1")
            )
    return made


def of_entries(listed: list[Entry], read: list[Tagged]) -> CookRecord:
    checks = tuple(entry for entry in listed if isinstance(entry.body, CheckMade))
    return build_record(
        COOK_ID, "pit", listed, among(read), 0, shipped_policy("retail-food-code"), UNITS,
        Wall(zone=UTC), checks,
    )  # fmt: skip


@pytest.fixture(scope="session")
def record() -> CookRecord:
    return of_entries(entries(), readings())


@pytest.fixture(scope="session")
def empty_record() -> CookRecord:
    return of_entries(entries()[:1], [])


@pytest.fixture(scope="session")
def database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same cook in a database."""
    path = tmp_path_factory.mktemp("record") / "pitlogger.db"
    run = RunRow("run-1", "pit", "boot", START_MS, 0, "0.1")
    with Store.open(path, run) as store:
        rows = [JournalRow.of(entry, COOK_ID) for entry in entries()]
        store.append(entries=rows, readings=readings()).result(20)
    return path


@pytest.fixture
def reader(database: Path) -> Iterator[Reader]:
    with Reader.open(database) as opened:
        yield opened


@pytest.fixture
def stored(reader: Reader) -> CookRecord:
    return load_record(reader, None, shipped_policy("retail-food-code"), UNITS, UTC)
