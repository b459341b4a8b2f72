"""Times as people read them: in their own zone, over the nights in which clocks are put on or back.

Zones and their changes: the IANA time zone database, through ``zoneinfo``. In Chicago clocks
went back on 2026-11-01 at 07:00 UTC and on on 2026-03-08 at 08:00 UTC.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from pitlogger.model.journal import RunStarted
from pitlogger.notify.quiet import QuietHours
from pitlogger.reports.cook_record import Wall
from pitlogger.reports.cook_report import remarks_of
from pitlogger.rules.messages import Units
from pitlogger.store import ClockRow
from pitlogger.views.shown import Shown
from tests.reports.conftest import entries, of_entries
from tests.store.conftest import START_MS

CHICAGO = ZoneInfo("America/Chicago")
HOUR_MS = 3_600_000


def ms(text: str) -> int:
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


@pytest.fixture
def in_chicago(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Let this host stand in Chicago."""
    monkeypatch.setenv("TZ", "America/Chicago")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.parametrize(
    ("utc", "shown"),
    [
        ("2026-11-01T06:30", "2026-11-01 01:30 -0500"),
        ("2026-11-01T07:30", "2026-11-01 01:30 -0600"),  # the hour that comes twice
        ("2026-03-08T07:59", "2026-03-08 01:59 -0600"),
        ("2026-03-08T08:01", "2026-03-08 03:01 -0500"),  # the hour that does not come
        ("2026-07-04T04:59", "2026-07-03 23:59 -0500"),
    ],
)
def test_a_printed_time_names_its_offset_so_that_none_is_told_twice(utc: str, shown: str) -> None:
    assert Wall(zone=CHICAGO).full(ms(utc)) == shown


@pytest.mark.usefixtures("in_chicago")
def test_the_page_goes_by_the_clock_on_the_wall_and_durations_by_what_passed() -> None:
    before_ms, after_ms = ms("2026-11-01T06:30"), ms("2026-11-01T07:30")
    page = Shown(Units("F", "lb-oz"), after_ms, 0)
    assert (page.clock(before_ms), page.clock(after_ms)) == ("01:30", "01:30")
    assert page.since(before_ms) == "1 h"
    assert page.iso(before_ms) == "2026-11-01T01:30:00-05:00"
    assert page.offset_min() == -360


@pytest.mark.usefixtures("in_chicago")
def test_engine_time_that_is_off_is_shown_as_the_time_of_day() -> None:
    page = Shown(Units("F", "lb-oz"), ms("2026-07-04T12:00"), 2 * HOUR_MS)
    assert page.clock(page.now_ms) == "09:00"
    assert page.clock(page.now_ms - 10 * HOUR_MS) == "Fri 23:00"


def test_quiet_hours_are_those_of_the_bedroom_in_the_longest_and_the_shortest_night() -> None:
    quiet = QuietHours(22 * 60, 6 * 60, CHICAGO)
    for night, hours in (("2026-11-01T00:00", 9), ("2026-03-08T00:00", 7)):
        start_ms = ms(night)
        quarters = [quiet.holds(start_ms + n * HOUR_MS // 4) for n in range(24 * 4)]
        assert sum(quarters) == hours * 4


def test_a_step_in_mid_cook_is_shown_from_then_on() -> None:
    clocks = (ClockRow("run-1", START_MS + HOUR_MS, HOUR_MS),)
    wall = Wall(clocks, UTC)
    assert (wall.clock(START_MS), wall.clock(START_MS + HOUR_MS)) == ("14:20", "16:20")


@pytest.mark.parametrize(
    ("gap_ms", "said"),
    [
        (None, "pitlogger was off until 17:00; for how long is not known."),
        (2 * HOUR_MS, "pitlogger was off until 17:00, for 2 h."),
        (900, None),
    ],
)
def test_a_report_says_that_the_node_was_off_and_makes_up_no_time(
    gap_ms: int | None, said: str | None
) -> None:
    listed = entries()
    started = RunStarted("boot-2", "0.1", gap_ms is not None, gap_ms)
    at_ms = START_MS + 160 * 60_000
    listed.insert(6, type(listed[0])("run-2", 1, at_ms, started))
    remarks = [line for line in remarks_of(of_entries(listed, [])) if "was off" in line]
    assert remarks == ([] if said is None else [said])
