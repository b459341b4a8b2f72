"""Where time comes from: the system, or a hand that turns it.

Only the outer rooms read a clock. The engine gets the time with each input, in
*engine milliseconds*: UTC at the start of the run plus monotonic time since, so that a
stepped wall clock moves no alarm.
"""

from __future__ import annotations

import time
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Protocol


class Clock(Protocol):
    """Tells engine time and wall time, both in milliseconds."""

    def engine_ms(self) -> int:
        """Return steady engine time: never steps, never runs back within a run."""

    def utc_ms(self) -> int:
        """Return wall time since the Unix epoch; may step."""

    def monotonic_ms(self) -> int:
        """Return monotonic time since an unspecified start, this boot only."""


class SystemClock:
    """The host's clocks; engine time starts at the wall time of construction."""

    def __init__(self, start_ms: int | None = None) -> None:
        self._start_ms = self.utc_ms() if start_ms is None else start_ms
        self._origin_ms = self.monotonic_ms()

    def engine_ms(self) -> int:
        return self._start_ms + self.monotonic_ms() - self._origin_ms

    def utc_ms(self) -> int:
        return utc_ms()

    def monotonic_ms(self) -> int:
        return monotonic_ms()


class ManualClock:
    """A clock that moves only when told to."""

    def __init__(self, start_ms: int = 0) -> None:
        self._now_ms = start_ms
        self._step_ms = 0
        self._origin_ms = start_ms

    def advance(self, ms: int) -> None:
        """Let ``ms`` milliseconds pass; never negative."""
        if ms < 0:
            raise ValueError(f"time does not run back: {ms} ms")
        self._now_ms += ms

    def step_wall(self, ms: int) -> None:
        """Step the wall clock alone, as a time server does."""
        self._step_ms += ms

    def engine_ms(self) -> int:
        return self._now_ms

    def utc_ms(self) -> int:
        return self._now_ms + self._step_ms

    def monotonic_ms(self) -> int:
        return self._now_ms - self._origin_ms


def utc_ms() -> int:
    """Return the wall time of this computer, UTC milliseconds."""
    return time.time_ns() // 1_000_000


def monotonic_ms() -> int:
    """Return this boot's steady time, milliseconds."""
    return time.monotonic_ns() // 1_000_000


def ms_of(moment: datetime) -> int:
    """Return a moment as UTC milliseconds."""
    return round(moment.timestamp() * 1000)


class Offset(Protocol):
    """What wall time is ahead of engine time from a moment on."""

    @property
    def from_ms(self) -> int: ...

    @property
    def offset_ms(self) -> int: ...


def wall_ms(offsets: Iterable[Offset], t_ms: int) -> int:
    """Return the UTC of an engine time by the offsets in force, in their order; UTC without any."""
    offset_ms = 0
    for one in offsets:
        if one.from_ms <= t_ms:
            offset_ms = one.offset_ms
    return t_ms + offset_ms


def rfc3339(utc_ms: int) -> str:
    """Return ``utc_ms`` as RFC 3339 in UTC, with milliseconds only where there are any."""
    moment = datetime.fromtimestamp(utc_ms / 1000, UTC)
    timespec = "milliseconds" if utc_ms % 1000 else "seconds"
    return moment.isoformat(timespec=timespec).replace("+00:00", "Z")
