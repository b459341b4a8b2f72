"""Lids that were opened, by the shape of the pit's dips, for whoever asks what was done then.

Finer than ``lid``, which leaves dips out of the pit's trend: a fall by 7 C within two minutes is
enough, more where the fire is restless, also while the pit still comes back from the last one. What
does not come back within 8 minutes was no lid.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pitlogger.pipeline.trend import BIN_MS

LEAST_MC = 7_000
RESTLESS = 4.0  # times what the pit usually changes within a minute
USUALLY = 0.02  # how fast that is learned
WHOLE_SHARE, WHOLE_MC = 0.25, 4_000  # of the fall: before that it had not begun
BACK_SHARE, BACK_MC = 0.2, 2_000  # of the fall: the lid is shut again
WINDOW_MS, LATELY_MS, OFTEN_MS = 120_000, 20_000, 30_000
GIVE_UP_MS = 8 * 60_000
MOST = 8


@dataclass(slots=True)
class Dips:
    """Openings of one pit; plain fields.

    Attributes:
        found: The last of them in order, once shut again: when each began, for how long the pit
            fell, how long after one another the pit was read then; milliseconds.
        restless_mc: How much the pit usually changes within a minute.
        fell_ms: Since when it falls, -1 if it does not.
    """

    found: list[tuple[int, int, int]] = field(default_factory=list)
    times_ms: list[int] = field(default_factory=list)
    levels_mc: list[int] = field(default_factory=list)
    restless_mc: float = 3_000.0  # at first
    fell_ms: int = -1
    top_mc: int = 0
    lowest_mc: int = 0
    lowest_ms: int = 0
    every_ms: int = BIN_MS

    def take(self, t_ms: int, value: int, every_ms: int) -> None:
        """Take one bin of the pit, ``every_ms`` after the one before."""
        times, levels = self.times_ms, self.levels_mc
        if every_ms > WINDOW_MS + BIN_MS:
            self._forget()
        if self.fell_ms >= 0:
            self._follow(t_ms, value)
        while times and t_ms - times[0] > WINDOW_MS:
            del times[0], levels[0]
        old = [level for ms, level in zip(times, levels, strict=True) if t_ms - ms > LATELY_MS]
        if old and self.fell_ms < 0:
            before = sorted(old)[len(old) // 2]
            least = max(value, levels[-1]) if every_ms <= OFTEN_MS else value  # not one gust
            if before - least > max(LEAST_MC, RESTLESS * self.restless_mc):
                self._begin(t_ms, value, before, every_ms)
            else:
                self.restless_mc += USUALLY * (abs(value - before) - self.restless_mc)
        times.append(t_ms)
        levels.append(value)

    def _begin(self, t_ms: int, value: int, before_mc: int, every_ms: int) -> None:
        near_mc = max(WHOLE_MC, WHOLE_SHARE * (before_mc - value))
        whole = [
            ms
            for ms, level in zip(self.times_ms, self.levels_mc, strict=True)
            if level > before_mc - near_mc
        ]
        self.fell_ms = whole[-1] if whole else t_ms
        self.top_mc, self.every_ms = before_mc, every_ms
        self.lowest_mc, self.lowest_ms = value, t_ms

    def _follow(self, t_ms: int, value: int) -> None:
        if value < self.lowest_mc:
            self.lowest_mc, self.lowest_ms = value, t_ms
        elif value - self.lowest_mc > max(BACK_MC, BACK_SHARE * (self.top_mc - self.lowest_mc)):
            self.found.append((self.fell_ms, self.lowest_ms - self.fell_ms, self.every_ms))
            del self.found[:-MOST]
            self._forget()
        if self.fell_ms >= 0 and t_ms - self.lowest_ms > GIVE_UP_MS:
            self._forget()

    def _forget(self) -> None:
        self.fell_ms = -1
        self.times_ms.clear()
        self.levels_mc.clear()
