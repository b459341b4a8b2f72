"""Time over restarts and steps: no gap is taken for nothing, no step moves an alarm."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from pitlogger.clock import Clock, ManualClock
from pitlogger.model.cooks import Piece, Stage
from pitlogger.model.journal import ClockSet, Entry, Noted, TroubleChanged
from pitlogger.model.readings import Quality, Site, Tagged
from pitlogger.safety.live import clocks_for
from pitlogger.safety.policy import DEFAULT, shipped_policy
from pitlogger.service.timekeeping import (
    KNOWN_AFTER_MS,
    Ended,
    Start,
    Timekeeper,
    how_ended,
    start_of_run,
    wall_is_known,
)
from pitlogger.store import ClockRow, JournalRow, Reader, RunRow, Store

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
NOON_MS = KNOWN_AFTER_MS + 500 * DAY_MS
EARLY_MS = 5_000_000  # 1970: never set


def ended(last_ms: int = NOON_MS, offset_ms: int = 0, known: bool = True) -> Ended:
    """Return a run of boot ``a`` that began an hour before its last record."""
    run = RunRow("r1", "pit", "a", last_ms - HOUR_MS, 10_000, "1", known)
    return Ended(run, last_ms, offset_ms, known)


class Host:
    """A clock with a boot's own monotonic time."""

    def __init__(self, utc_ms: int, monotonic_ms: int) -> None:
        self._utc_ms, self._monotonic_ms = utc_ms, monotonic_ms

    def engine_ms(self) -> int:
        return self._utc_ms

    def utc_ms(self) -> int:
        return self._utc_ms

    def monotonic_ms(self) -> int:
        return self._monotonic_ms


def test_the_first_run_begins_at_the_wall_time() -> None:
    assert start_of_run(None, "a", Host(NOON_MS, 5), True) == Start(NOON_MS, True, 0)


def test_within_a_boot_elapsed_time_is_monotonic_whatever_the_wall_says() -> None:
    host = Host(NOON_MS - 3 * HOUR_MS, 10_000 + HOUR_MS + 90_000)
    start = start_of_run(ended(), "a", host, True)
    assert (start.start_ms, start.gap_ms) == (NOON_MS + 90_000, 90_000)
    assert start.start_ms + start.offset_ms == host.utc_ms()


def test_across_boots_it_is_the_wall_gap_where_time_was_known_on_both_sides() -> None:
    start = start_of_run(ended(), "b", Host(NOON_MS + HOUR_MS, 3_000), True)
    assert (start.start_ms, start.gap_ms, start.utc_trusted) == (NOON_MS + HOUR_MS, HOUR_MS, True)


def test_a_step_of_the_last_run_is_no_part_of_the_gap() -> None:
    host = Host(NOON_MS + 2 * HOUR_MS, 3_000)
    start = start_of_run(ended(offset_ms=HOUR_MS), "b", host, True)
    assert start.gap_ms == HOUR_MS
    assert start.start_ms + start.offset_ms == host.utc_ms()


@pytest.mark.parametrize(
    ("host", "before", "known"),
    [
        (Host(EARLY_MS, 3_000), ended(), False),
        (Host(NOON_MS + HOUR_MS, 3_000), ended(known=False), True),
        (Host(NOON_MS - HOUR_MS, 3_000), ended(), True),
    ],
    ids=["no clock now", "no clock before", "set back"],
)
def test_a_gap_that_cannot_be_known_is_unknown_and_time_goes_on(
    host: Host, before: Ended, known: bool
) -> None:
    start = start_of_run(before, "b", host, known)
    assert (start.start_ms, start.gap_ms) == (before.last_ms, None)


def test_a_clock_that_says_what_has_already_been_is_not_believed() -> None:
    assert not start_of_run(ended(), "b", Host(NOON_MS - HOUR_MS, 1), True).utc_trusted


def test_engine_time_never_runs_back_over_the_record() -> None:
    for boot, utc_ms in (("a", EARLY_MS), ("b", EARLY_MS), ("b", NOON_MS - DAY_MS), ("", NOON_MS)):
        start = start_of_run(ended(), boot, Host(utc_ms, 20_000), utc_ms > KNOWN_AFTER_MS)
        assert start.start_ms >= NOON_MS


# -- whether the wall clock is known --------------------------------------------------------


def made(root: Path, *names: str) -> Path:
    for name in names:
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    return root


def test_a_clock_before_this_program_was_written_was_never_set(tmp_path: Path) -> None:
    assert not wall_is_known(EARLY_MS, made(tmp_path, "sys/class/rtc/rtc0"))


def test_a_clock_with_a_battery_is_believed(tmp_path: Path) -> None:
    root = made(tmp_path, "sys/class/rtc/rtc0", "etc/fake-hwclock.data")
    assert wall_is_known(NOON_MS, root)


@pytest.mark.parametrize("saved", ["etc/fake-hwclock.data", "var/lib/systemd/timesync/clock"])
def test_the_time_of_the_last_shutdown_is_believed_once_it_was_set(
    tmp_path: Path, saved: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pitlogger.service.timekeeping._is_unsynchronised", lambda: True)
    root = made(tmp_path, saved)
    assert not wall_is_known(NOON_MS, root)
    assert wall_is_known(NOON_MS, made(root, "run/systemd/timesync/synchronized"))


# -- while it runs --------------------------------------------------------------------------


class Kept:
    """Takes clock rows."""

    def __init__(self) -> None:
        self.rows: list[ClockRow] = []

    def set_clock(self, clock: ClockRow) -> None:
        self.rows.append(clock)


def keeper(
    clock: Clock, start: Start, is_known: Callable[[int], bool] = lambda utc_ms: True
) -> tuple[Timekeeper, Kept]:
    return Timekeeper("r2", clock, start, is_known), Kept()


@pytest.mark.parametrize("step_ms", [HOUR_MS, -HOUR_MS, 365 * DAY_MS, -365 * DAY_MS])
def test_a_step_is_journalled_and_moves_no_engine_time(step_ms: int) -> None:
    clock = ManualClock(NOON_MS)
    watch, kept = keeper(clock, Start(NOON_MS, True, 0))
    clock.advance(60_000)
    clock.step_wall(step_ms)
    assert watch.look(clock.engine_ms(), kept) == [ClockSet(step_ms)]
    assert kept.rows == [ClockRow("r2", NOON_MS + 60_000, step_ms)]
    assert watch.look(clock.engine_ms(), kept) == []


def test_a_clock_that_drifts_within_two_seconds_is_left_alone() -> None:
    clock = ManualClock(NOON_MS)
    watch, kept = keeper(clock, Start(NOON_MS, True, 0))
    clock.step_wall(1_900)
    assert watch.look(clock.engine_ms(), kept) == []


def test_an_unknown_time_is_told_until_it_is_known_and_then_repaired_from_the_start() -> None:
    clock = ManualClock(EARLY_MS)
    watch, kept = keeper(clock, Start(EARLY_MS, False, 0), lambda utc_ms: utc_ms > KNOWN_AFTER_MS)
    (told,) = watch.begin(kept)
    assert (told.alert, told.active) == ("clock-unset", True)
    clock.advance(60_000)
    assert watch.look(clock.engine_ms(), kept) == []
    clock.step_wall(NOON_MS)
    assert watch.look(clock.engine_ms(), kept) == [
        ClockSet(NOON_MS),
        TroubleChanged("clock-unset", "node", False),
    ]
    assert kept.rows == [ClockRow("r2", EARLY_MS, NOON_MS)]


def test_a_saved_time_that_somebody_steps_is_known_even_where_the_kernel_does_not_say() -> None:
    clock = ManualClock(NOON_MS)
    watch, kept = keeper(clock, Start(NOON_MS, False, 0), lambda utc_ms: False)
    assert watch.look(clock.engine_ms(), kept) == []
    clock.step_wall(DAY_MS)
    assert watch.look(clock.engine_ms(), kept)[0] == ClockSet(DAY_MS)


def test_an_unknown_gap_is_told_even_where_the_time_is_known() -> None:
    clock = ManualClock(NOON_MS + DAY_MS)
    watch, kept = keeper(clock, Start(NOON_MS, True, None, DAY_MS))
    first, second = watch.begin(kept)
    assert "how long" in first.message
    assert "longer than any limit" in first.remedy
    assert (first.active, second.active) == (True, False)  # it stays until it is seen
    assert kept.rows == [ClockRow("r2", NOON_MS, DAY_MS, True)]


# -- the record and the safety clocks --------------------------------------------------------


def test_how_a_killed_run_ended_is_read_from_its_records(tmp_path: Path) -> None:
    path = tmp_path / "pit.db"
    store = Store.open(path, RunRow("r1", "pit", "a", NOON_MS, 0, "1"))
    entry = Entry("r1", 1, NOON_MS + 1_000, Noted("x"))
    late = Tagged("core", NOON_MS + 7_000, 1, 1, Quality.GOOD, Site.CORE, None)
    store.append([JournalRow.of(entry)], [late]).result(10)
    store.set_clock(ClockRow("r1", NOON_MS, HOUR_MS)).result(10)
    with Reader.open(path) as reader:  # as it is while the run has not been closed
        found = how_ended(reader)
    store.close()
    assert found is not None
    assert (found.last_ms, found.last_utc_ms) == (NOON_MS + 7_000, NOON_MS + 7_000 + HOUR_MS)


def test_a_time_of_which_nothing_is_known_is_taken_for_longer_than_any_limit() -> None:
    from pitlogger.engine.gaps import UNKNOWN_GAP_MS

    policy = shipped_policy(DEFAULT)
    clocks = clocks_for(Piece("brisket-1", "brisket-packer"), policy)
    clocks.enter(Stage.SMOKING, NOON_MS, policy)
    clocks.enter(Stage.HOLDING, NOON_MS + HOUR_MS, policy)
    clocks.enter(Stage.COOLING, NOON_MS + 2 * HOUR_MS, policy)
    at_ms = NOON_MS + 2 * HOUR_MS
    for minute, core_mc in enumerate((60_000, 58_000, 56_000, 54_000)):
        clocks.update(at_ms + minute * 60_000, core_mc, core_mc)
    now_ms = at_ms + 4 * 60_000

    def late() -> set[str]:
        return {told.kind for told in clocks.told(now_ms, policy) if told.is_true}

    assert "cooling-stage-1-late" not in late()
    clocks.let_pass(UNKNOWN_GAP_MS)
    assert {"cooling-stage-1-late", "cooling-stage-2-late"} <= late()


class Corrected(Host):
    """A clock whose wall time is set while the host runs."""

    def set(self, utc_ms: int) -> None:
        self._utc_ms = utc_ms


def test_a_gap_is_known_once_the_time_is() -> None:
    """A reboot without a clock, and the network comes up five minutes later."""
    clock = Corrected(EARLY_MS, 5)
    start = Start(NOON_MS, False, None, 0, NOON_MS, is_last_known=True)
    watch, kept = keeper(clock, start, lambda utc_ms: utc_ms > KNOWN_AFTER_MS)
    assert watch.look(NOON_MS + 60_000, kept) == []
    clock.set(NOON_MS + 45 * 60_000)
    clock_set, _ = watch.look(NOON_MS + 5 * 60_000, kept)
    assert clock_set == ClockSet(40 * 60_000, gap_ms=40 * 60_000)


def test_a_gap_after_a_run_without_a_clock_stays_unknown() -> None:
    clock = Corrected(EARLY_MS, 5)
    start = Start(NOON_MS, False, None, 0, NOON_MS)
    watch, kept = keeper(clock, start, lambda utc_ms: utc_ms > KNOWN_AFTER_MS)
    clock.set(NOON_MS + 45 * 60_000)
    assert watch.look(NOON_MS + 5 * 60_000, kept)[0] == ClockSet(40 * 60_000)
