"""A load cell under a grate or a pan: what was put on, lifted, added, and what is lost meanwhile.

Readings fall into bins of 20 s; three in a row that lie near each other are a mass at rest. From
one rest to the next a sudden change is something put on or taken off; a slow one is what
evaporates and drips off (down), or what drips into a pan (up). A small thing put on meanwhile,
wood or sauce, is added mass and hides no loss. The cell's drift by temperature is a straight
line over what its pit read, some time late, found while nothing lies on it; each time it is
empty it is zeroed anew. Thresholds are ours.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from statistics import median_low
from typing import Literal, NamedTuple

BIN_MS = 20_000
STILL_MG, STEP_MG, LEAST_MG = 25_000, 60_000, 150_000
SMALL = 0.12  # of what lies there: less than that is no piece
BACK_MS = 10 * 60_000  # within which what was lifted comes back from a look or a wrap
LAGS_MS = (60_000, 600_000, 1_800_000)
WRAPPING_MG = (12_000, 500_000)  # paper, foil, tallow
_LEAST_BINS, _LEAST_SPREAD_K = 12, 4.0


class Moved(NamedTuple):
    """A piece put on, lifted for the wrap, or taken off: its mass and when."""

    checkpoint: Literal["on-pit", "at-wrap", "off-pit"]
    mass_mg: int
    at_ms: int


@dataclass(slots=True)
class Grate:
    """One load cell; plain fields, so that a snapshot is exact. Masses in milligrams.

    Attributes:
        put_on_mg: What was put on it and is still there, as it was put on.
        slow_mg: How that changed slowly since: below zero it was lost.
        added_mg: What was added beside it, ``wrap_mg`` what it was wrapped in.
        lifted: What was lifted and may come back: mass, wrapping, when.
    """

    values: list[int] = field(default_factory=list)
    bin_end_ms: int = 0
    rests: list[int] = field(default_factory=list)  # raw, the last three bins
    level_mg: int | None = None  # at the last rest, without drift
    zero_mg: int = 0
    put_on_mg: int = 0
    slow_mg: int = 0
    added_mg: int = 0
    wrap_mg: int = 0
    lifted: tuple[int, int, int] | None = None
    warm_c: list[float] = field(default_factory=list)  # the pit, by lag
    sums: list[list[float]] = field(default_factory=lambda: [[0.0] * 6 for _ in LAGS_MS])
    slope_mg_per_k: float = 0.0
    lag: int = 0

    @property
    def now_mg(self) -> int:
        """What lies on it now."""
        return self.put_on_mg + self.slow_mg + self.added_mg + self.wrap_mg

    def update(self, t_ms: int, mass_mg: int, pit_mc: Callable[[], int | None]) -> Moved | None:
        """Take one good reading and return what was moved, once that is plain."""
        if not self.values:
            self.bin_end_ms = t_ms + BIN_MS
        if t_ms < self.bin_end_ms:
            self.values.append(mass_mg)
            return None
        self.rests[:] = [*self.rests[-2:], median_low(self.values or [mass_mg])]
        self.values[:], self.bin_end_ms = [mass_mg], t_ms + BIN_MS
        self._warm(pit_mc())
        found = None
        if len(self.rests) == 3 and max(self.rests) - min(self.rests) <= STILL_MG:
            found = self._rest(sorted(self.rests)[1], t_ms - 2 * BIN_MS)
        if found is None and self.lifted is not None and t_ms - self.lifted[2] > BACK_MS:
            found = self._gone()
        return found

    def _gone(self) -> Moved | None:
        """Return what was lifted and does not come back."""
        lifted, self.lifted = self.lifted, None
        return None if lifted is None else Moved("off-pit", lifted[0], lifted[2])

    def _warm(self, pit_mc: int | None) -> None:
        if pit_mc is None:
            return
        if not self.warm_c:
            self.warm_c = [pit_mc / 1000] * len(LAGS_MS)
        for at, lag_ms in enumerate(LAGS_MS):
            self.warm_c[at] += (pit_mc / 1000 - self.warm_c[at]) * min(1.0, BIN_MS / lag_ms)

    def _true(self, raw_mg: int) -> int:
        warm_c = self.warm_c[self.lag] if self.warm_c else 0.0
        return raw_mg - round(self.slope_mg_per_k * warm_c)

    def _rest(self, raw_mg: int, t_ms: int) -> Moved | None:
        before, level_mg = self.level_mg, self._true(raw_mg)
        self.level_mg = level_mg
        if before is None:
            self.zero_mg = level_mg
            return None
        step_mg = level_mg - before
        if abs(step_mg) >= STEP_MG:
            return self._up(step_mg, t_ms) if step_mg > 0 else self._down(step_mg, t_ms)
        if self.put_on_mg:
            self.slow_mg += step_mg
        elif abs(level_mg - self.zero_mg) < LEAST_MG:
            self._learn(raw_mg)
            self.level_mg = self.zero_mg = self._true(raw_mg)
        return None

    def _up(self, step_mg: int, t_ms: int) -> Moved | None:
        if self.lifted is not None:
            was_mg, wrap_mg, at_ms = self.lifted
            more_mg = step_mg - was_mg - wrap_mg
            if -STEP_MG < more_mg <= WRAPPING_MG[1]:
                self.lifted = None
                self.put_on_mg += was_mg
                self.wrap_mg += wrap_mg + max(0, more_mg)
                return Moved("at-wrap", was_mg, at_ms) if more_mg >= WRAPPING_MG[0] else None
        if step_mg < max(LEAST_MG, SMALL * self.now_mg):
            self.added_mg += step_mg if self.put_on_mg else 0
            return None
        self.put_on_mg += step_mg
        return Moved("on-pit", step_mg, t_ms)

    def _down(self, step_mg: int, t_ms: int) -> Moved | None:
        there_mg, taken_mg = self.now_mg, -step_mg
        if taken_mg < max(LEAST_MG, SMALL * there_mg):
            self.slow_mg -= taken_mg if self.put_on_mg else 0  # lost while it did not rest
            return None
        gone = self._gone()
        if there_mg - taken_mg < LEAST_MG:
            self.lifted = (taken_mg - self.wrap_mg, self.wrap_mg, t_ms)
            self.put_on_mg = self.slow_mg = self.added_mg = self.wrap_mg = 0
        else:
            self.lifted = (taken_mg, 0, t_ms)
            self.put_on_mg -= taken_mg
        return gone

    def _learn(self, raw_mg: int) -> None:
        """Fit a line to mass over temperature, with the lag at which it fits best."""
        best = 0.0
        for at, warm_c in enumerate(self.warm_c):
            sums = self.sums[at]
            for place, term in enumerate(
                (1.0, warm_c, raw_mg, warm_c * warm_c, warm_c * raw_mg, float(raw_mg) * raw_mg)
            ):
                sums[place] += term
            n, x, y, xx, xy, yy = sums
            over_x, over_y = xx - x * x / n, yy - y * y / n
            if n < _LEAST_BINS or over_x < n * _LEAST_SPREAD_K**2 or over_y <= 0:
                continue
            shared = xy - x * y / n
            if shared * shared / (over_x * over_y) > best:
                best = shared * shared / (over_x * over_y)
                self.slope_mg_per_k, self.lag = shared / over_x, at
