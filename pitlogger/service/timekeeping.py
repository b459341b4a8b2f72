"""Time over restarts: when a run begins in engine time, and whether the wall clock is known.

Within a boot all is monotonic. Across boots elapsed time is the wall gap, where the wall clock
was known on both sides; else it is unknown, engine time goes on from the last record, and the
safety clocks take the least favourable case (``engine.restart.begin_run``).

Small computers without a clock of their own start with the time saved at the last shutdown:
it looks right and is not. Such a time counts only once the kernel says that it is set.
"""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from pitlogger.clock import Clock
from pitlogger.model.journal import ClockSet, TroubleChanged
from pitlogger.store.queries import Reader
from pitlogger.store.rows import ClockRow, RunRow

KNOWN_AFTER_MS = 1_735_689_600_000  # 2025-01-01: an earlier wall clock was never set
STEP_MS = 2_000
PAPER = "paper"  # version of a run that was imported and never lived
_STATUS_BYTES = slice(40, 44)  # of struct timex, 64 bits (adjtimex(2)): int status
_UNSYNCHRONISED = 0x0040
_SYNCHRONISED = "run/systemd/timesync/synchronized"  # systemd-timesyncd(8)
# Where the time of the last shutdown is kept: fake-hwclock(8), systemd-timesyncd(8).
_SAVED_TIMES = ("etc/fake-hwclock.data", "var/lib/systemd/timesync/clock")
_SET_IT = (
    "Connect the network or set the clock: sudo timedatectl set-time '2026-07-04 18:30'."
    " What is recorded meanwhile gets its right time by itself then"
)
_TIME_UNKNOWN = ("the time of day is not known", _SET_IT)
_THROW_AWAY = (
    "The safety clocks take it for longer than any limit: throw away what is doubtful. If"
    " somebody knows better, write it down with `pitlogger note`"
)
_GAP_UNKNOWN = ("how long the power was off is not known", f"{_THROW_AWAY}. {_SET_IT}")


@dataclass(frozen=True, slots=True)
class Ended:
    """How the last run ended.

    Attributes:
        last_ms: Engine time of its last record.
        offset_ms: UTC less engine time, as known last.
        is_utc_known: Whether it was known.
    """

    run: RunRow
    last_ms: int
    offset_ms: int = 0
    is_utc_known: bool = True

    @property
    def last_utc_ms(self) -> int:
        return self.last_ms + self.offset_ms


@dataclass(frozen=True, slots=True)
class Start:
    """When a run begins in engine time, and what is known of the time since the last one.

    ``gap_ms`` is ``None`` where it is unknown. ``offset_ms`` is UTC less engine time, the best
    guess where UTC is not known. ``last_utc_ms`` is when the last run ended, as far as its
    clock said; where it is known (``is_last_known``) an unknown gap is known once UTC is.
    """

    start_ms: int
    utc_trusted: bool
    gap_ms: int | None
    offset_ms: int = 0
    last_utc_ms: int | None = None
    is_last_known: bool = False


def how_ended(reader: Reader) -> Ended | None:
    """Return how the last run ended; ``None`` where none is on record."""
    lived = [row for row in reader.runs() if row.version != PAPER]
    if not lived:
        return None
    last = lived[-1]
    clocks = [row for row in reader.clocks(last.run) if row.trusted]
    offset_ms = clocks[-1].offset_ms if clocks else 0
    known = last.utc_trusted or bool(clocks)
    return Ended(last, reader.last_ms(last.run), offset_ms, known)


def start_of_run(ended: Ended | None, boot: str, clock: Clock, is_known: bool) -> Start:
    """Return when a run begins, given how the last one ended.

    Args:
        ended: The last run, ``None`` for the first ever.
        boot: This boot's id; empty where the kernel gives none.
        clock: This host's clocks.
        is_known: Whether its wall clock is known to be set.
    """
    utc_ms = clock.utc_ms()
    if ended is None:
        return Start(utc_ms, is_known, 0)
    last_ms = ended.last_ms
    if boot and boot == ended.run.boot_id:
        elapsed_ms = clock.monotonic_ms() - ended.run.start_monotonic_ms
        start_ms = max(last_ms, ended.run.start_ms + elapsed_ms)
        offset_ms = utc_ms - start_ms if is_known else ended.offset_ms
        return Start(start_ms, is_known, start_ms - last_ms, offset_ms)
    if is_known and ended.is_utc_known and utc_ms >= ended.last_utc_ms:
        gap_ms = utc_ms - ended.last_utc_ms
        return Start(last_ms + gap_ms, True, gap_ms, ended.offset_ms)
    set_back = is_known and ended.is_utc_known  # it says a time that has already been
    known = is_known and not set_back
    offset_ms = utc_ms - last_ms if known else ended.offset_ms
    return Start(last_ms, known, None, offset_ms, ended.last_utc_ms, ended.is_utc_known)


def wall_is_known(utc_ms: int, root: Path = Path("/")) -> bool:
    """Return whether the wall clock was set since this computer was switched on.

    Args:
        utc_ms: What it says.
        root: Where the file system is; another one in tests.
    """
    if utc_ms < KNOWN_AFTER_MS:
        return False
    has_clock = any((root / "sys/class/rtc").glob("rtc*"))
    may_be_saved = any((root / name).exists() for name in _SAVED_TIMES)
    is_set = (root / _SYNCHRONISED).exists() or not _is_unsynchronised()
    return has_clock or not may_be_saved or is_set


def _is_unsynchronised() -> bool:
    """Return whether the kernel says that nobody has set its clock, or will not say."""
    buffer = ctypes.create_string_buffer(512)
    try:
        failed = ctypes.CDLL(None).adjtimex(buffer) < 0
    except (AttributeError, OSError):
        return True
    status = int.from_bytes(buffer.raw[_STATUS_BYTES], "little")
    return failed or bool(status & _UNSYNCHRONISED)


class TimeRecord(Protocol):
    """What takes the times that are put on record: the store."""

    def set_clock(self, clock: ClockRow) -> object: ...


class Timekeeper:
    """Watches the wall clock of a run: when it becomes known, and when it is stepped."""

    def __init__(
        self,
        run: str,
        clock: Clock,
        start: Start,
        is_known: Callable[[int], bool] = wall_is_known,
    ) -> None:
        # Too small to be put on record is none: what a person states stays as stated.
        self.offset_ms = start.offset_ms if abs(start.offset_ms) >= STEP_MS else 0
        self.is_known = start.utc_trusted
        self._run = run
        self._clock = clock
        self._start = start
        self._ask = is_known
        self._offset_at_start_ms = clock.utc_ms() - clock.engine_ms()

    def begin(self, record: TimeRecord) -> list[TroubleChanged]:
        """Put UTC on record where it is not engine time; return what is not known."""
        if abs(self.offset_ms) >= STEP_MS:
            row = ClockRow(self._run, self._start.start_ms, self.offset_ms, self.is_known)
            record.set_clock(row)
        told = []
        if self._start.gap_ms is None:
            told.append(TroubleChanged("clock-unset", "node", True, *_GAP_UNKNOWN))
            if self.is_known:  # it stays on the page until somebody has seen it
                told.append(TroubleChanged("clock-unset", "node", False))
        elif not self.is_known:
            told.append(TroubleChanged("clock-unset", "node", True, *_TIME_UNKNOWN))
        return told

    def look(self, now_ms: int, record: TimeRecord) -> list[ClockSet | TroubleChanged]:
        """Put on record that the time became known or was stepped; return what to journal.

        Once it becomes known, all that the run has recorded is repaired.
        """
        utc_ms = self._clock.utc_ms()
        offset_ms = utc_ms - now_ms
        if self.is_known and abs(offset_ms - self.offset_ms) < STEP_MS:
            return []
        if self.is_known:
            record.set_clock(ClockRow(self._run, now_ms, offset_ms))
            self.offset_ms = offset_ms
            return [ClockSet(offset_ms)]
        was_set = abs(offset_ms - self._offset_at_start_ms) >= STEP_MS and utc_ms > KNOWN_AFTER_MS
        if utc_ms < (self._start.last_utc_ms or 0) or not (was_set or self._ask(utc_ms)):
            return []
        record.set_clock(ClockRow(self._run, self._start.start_ms, offset_ms))
        self.is_known, self.offset_ms = True, offset_ms
        known = ClockSet(offset_ms, gap_ms=self._gap_ms(offset_ms))
        return [known, TroubleChanged("clock-unset", "node", False)]

    def _gap_ms(self, offset_ms: int) -> int | None:
        """Return how long nothing ran before this run, where only now that is known."""
        start = self._start
        if start.gap_ms is not None or not start.is_last_known or start.last_utc_ms is None:
            return None
        return max(0, start.start_ms + offset_ms - start.last_utc_ms)
