"""Lid openings, recognised on the pit, and the pit's trend without them.

A lid opening is a dip: the pit falls by 12 C or more under its level of the two minutes
before, within a minute, and comes back in minutes (published simulators and cooks: 20 to
55 C deep, 3 to 7 min to recover). The dip is left out of the pit's trend from its first
bin on, since bins wait a minute before they count. A lid opened again before the pit has come
back is an opening of its own. What does not come back within 15 minutes was no lid but a
failing fire: it then counts as it is.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pitlogger.pipeline.dips import Dips
from pitlogger.pipeline.trend import BIN_MS, Trend

NO_STEP_LIMIT_MC = 1_000_000
WAIT_BINS = 6  # a minute
LEVEL_BINS = 12  # two minutes
DROP_MC = 12_000
FALL_MC = 10_000  # of which so much within the waiting minute
RISE_MC = 4_000  # above the lowest bin: the lid is shut again
BACK_SHARE = 0.25  # of the drop still missing: the dip is over
AGAIN_MS = 2 * WAIT_BINS * BIN_MS
GIVE_UP_MS = 15 * 60_000
GAP_MS = 5 * 60_000


@dataclass(slots=True)
class PitTrend:
    """Running trend of a pit channel, lid openings left out; plain fields.

    Attributes:
        open: Whether the lid stands open (falling, or down and not yet rising).
        dip: Whether the pit is in a dip, recovery included.
        opened_ms: When the present or the last opening began, ``None`` before the first.
        openings: How many there were.
        trend: Level and slope without dips, about a minute late.
        dips: Openings found by their shape, finer.
    """

    open: bool = False
    dip: bool = False
    opened_ms: int | None = None
    openings: int = 0
    trend: Trend = field(default_factory=lambda: Trend(step_mc=NO_STEP_LIMIT_MC))
    dips: Dips = field(default_factory=Dips)
    bin_end_ms: int = -BIN_MS
    bin_sum: int = 0
    bin_n: int = 0
    last_ms: int = 0
    times_ms: list[int] = field(default_factory=list)  # the last two minutes of bins
    levels_mc: list[int] = field(default_factory=list)
    waiting: int = 0  # how many of them the trend has not had yet
    before_mc: int = 0
    lowest_mc: int = 0
    peak_mc: int = 0  # the highest since it was lowest, and when
    peak_ms: int = 0

    @property
    def level_mc(self) -> int | None:
        return self.trend.level_mc

    @property
    def slope_c_per_h(self) -> float | None:
        return self.trend.slope_c_per_h

    def update(self, t_ms: int, milli_c: int) -> bool:
        """Take one good reading; return whether something may have changed."""
        if t_ms < self.bin_end_ms:
            self.bin_sum += milli_c
            self.bin_n += 1
            return False
        if self.bin_n:
            self._take(self.bin_end_ms - BIN_MS, self.bin_sum // self.bin_n)
        if t_ms - self.bin_end_ms >= BIN_MS:  # a slow channel: the reading is a bin by itself
            self.bin_n, self.bin_end_ms = 0, t_ms + 1
            self._take(t_ms, milli_c)
        else:
            self.bin_n, self.bin_sum, self.bin_end_ms = 1, milli_c, t_ms + BIN_MS
        return True

    def _take(self, t_ms: int, value: int) -> None:
        if t_ms - self.last_ms > GAP_MS:
            self._forget()
        self.dips.take(t_ms, value, t_ms - self.last_ms)
        self.last_ms = t_ms
        if self.dip:
            self._follow_dip(t_ms, value)
            return
        times, levels = self.times_ms, self.levels_mc
        if len(levels) >= 3:
            settled = levels[: max(len(levels) - WAIT_BINS, 2)]
            before = sorted(settled)[len(settled) // 2]
            recent = max(levels[-WAIT_BINS:])
            if value < before - DROP_MC and value < recent - FALL_MC:
                self._begin_dip(times[-min(WAIT_BINS, len(times))], before, t_ms, value)
                return
        times.append(t_ms)
        levels.append(value)
        self.waiting += 1
        if self.waiting > WAIT_BINS or t_ms - times[-self.waiting] >= WAIT_BINS * BIN_MS:
            self.trend.update(times[-self.waiting], levels[-self.waiting])
            self.waiting -= 1
        if len(levels) > LEVEL_BINS:
            del times[0], levels[0]

    def _begin_dip(self, t_ms: int, before_mc: int, now_ms: int, value: int) -> None:
        self.dip = self.open = True
        self.opened_ms, self.openings = t_ms, self.openings + 1
        self.before_mc, self.lowest_mc = before_mc, value
        self.peak_mc, self.peak_ms = value, now_ms
        keep = len(self.levels_mc) - self.waiting
        del self.times_ms[keep:], self.levels_mc[keep:]
        self.waiting = 0

    def _follow_dip(self, t_ms: int, value: int) -> None:
        if value >= self.peak_mc:
            self.peak_mc, self.peak_ms = value, t_ms
        elif not self.open and value < self.peak_mc - FALL_MC and t_ms - self.peak_ms <= AGAIN_MS:
            self.opened_ms = self.peak_ms
            self.openings += 1
            self.lowest_mc = value
            self.peak_mc, self.peak_ms = value, t_ms
        if value < self.lowest_mc:
            self.lowest_mc = self.peak_mc = value
            self.peak_ms = t_ms
        self.open = value < self.lowest_mc + RISE_MC
        missing = self.before_mc - value
        if missing <= BACK_SHARE * (self.before_mc - self.lowest_mc):
            self.dip = self.open = False
        elif self.opened_ms is not None and t_ms - self.opened_ms > GIVE_UP_MS:
            self._forget()

    def _forget(self) -> None:
        self.dip = self.open = False
        self.times_ms.clear()
        self.levels_mc.clear()
        self.waiting = 0
