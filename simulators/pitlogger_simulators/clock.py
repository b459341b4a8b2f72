"""The simulator owns time: a clock whose rate changes and whose value never jumps back.

Time moves when it is pumped, by the real time since the last pump times the rate, and stands
still in between: whoever asks twice in one step of the loop is told the same. A pump counts
at most ``slack_s`` of real time: when the machine is busy, simulated time waits for it, and
nothing looks late that is not.
"""

from __future__ import annotations

import time
from collections.abc import Callable


class SimulatedClock:
    """Tells engine time, wall time and monotonic time of the simulated host, milliseconds.

    Args:
        start_ms: UTC at the start.
        rate: Simulated seconds in a real one.
        real_s: Where real time comes from.
        slack_s: Real time that one pump counts at most.
    """

    def __init__(
        self,
        start_ms: int,
        rate: float = 1.0,
        real_s: Callable[[], float] = time.monotonic,
        slack_s: float = 0.25,
    ) -> None:
        self._start_ms = start_ms
        self._now_ms = float(start_ms)
        self._rate = rate
        self._real_s = real_s
        self._slack_s = slack_s
        self._pumped_s = real_s()
        self._step_ms = 0

    @property
    def rate(self) -> float:
        """Simulated seconds in a real one."""
        return self._rate

    def pump(self, rate: float | None = None) -> int:
        """Let the real time since the last pump count; return engine time.

        Args:
            rate: Another rate from now on.
        """
        real_s = self._real_s()
        passed_s = min(real_s - self._pumped_s, self._slack_s)
        self._pumped_s = real_s
        self._now_ms += passed_s * 1000 * self._rate
        if rate is not None:
            self._rate = rate
        return self.engine_ms()

    def hold(self) -> None:
        """Let the real time since the last pump not count."""
        self._pumped_s = self._real_s()

    def put_wall_off(self, ms: int) -> None:
        """Let the wall clock be wrong by so much from now on; zero sets it right."""
        self._step_ms = ms

    def engine_ms(self) -> int:
        return int(self._now_ms)

    def utc_ms(self) -> int:
        return self.engine_ms() + self._step_ms

    def monotonic_ms(self) -> int:
        return self.engine_ms() - self._start_ms
