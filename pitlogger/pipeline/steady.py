"""Steady: when a mass on the scale may be kept.

A mass is steady when at least six readings over at least two seconds span no more than one
scale interval, none of them flagged as moving, and its value is their median. The span of
the whole window is judged, not successive differences: a piece that drips one interval at a
time would pass a step test for ever. The one-interval rule is that of OIML R 76-1, 4.4.2 (two
neighbouring values are allowed); the window is ours.

A scale that sends one result a weighing has waited for rest itself: each result is steady.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median_low

WINDOW_MS = 3_000
LEAST_SPAN_MS = 2_000
LEAST_READINGS = 6
LONGEST_WINDOW_MS = 20_000  # slow scales: look further back for six readings


def is_steady(values_mg: Sequence[int], interval_mg: int) -> bool:
    """Return whether readings span no more than one scale interval.

    Args:
        values_mg: Readings of the window, milligrams, shape (n,).
        interval_mg: Scale interval e, milligrams.

    Source: OIML R 76-1, 4.4.2; Canada SI/98-81 s. 45 (within 1 e).
    """
    return len(values_mg) >= LEAST_READINGS and max(values_mg) - min(values_mg) <= interval_mg


@dataclass(slots=True)
class Steadiness:
    """Running window of one scale; plain fields, so that a snapshot is exact.

    Attributes:
        steady_mg: The steady mass, ``None`` while the load moves.
        since_ms: When it became steady.
        settled: The scale sends results alone that it found steady itself.
    """

    interval_mg: int = 5_000
    settled: bool = False
    times_ms: list[int] = field(default_factory=list)
    values_mg: list[int] = field(default_factory=list)
    steady_mg: int | None = None
    since_ms: int | None = None

    def update(self, t_ms: int, mass_mg: int, stable: bool | None) -> bool:
        """Take one good reading; return whether the steady mass changed.

        Args:
            stable: The scale's own flag: moving rules steadiness out, stable alone is not enough.
        """
        if self.settled and stable is not False:
            before, self.steady_mg, self.since_ms = self.steady_mg, mass_mg, t_ms
            return mass_mg != before
        if stable is False or (self.times_ms and t_ms - self.times_ms[-1] > LONGEST_WINDOW_MS):
            self.times_ms.clear()
            self.values_mg.clear()
        if stable is not False:
            self.times_ms.append(t_ms)
            self.values_mg.append(mass_mg)
            self._trim(t_ms)
        before = self.steady_mg
        if (
            self.times_ms
            and t_ms - self.times_ms[0] >= LEAST_SPAN_MS
            and is_steady(self.values_mg, self.interval_mg)
        ):
            middle = median_low(self.values_mg)
            if before is None or abs(middle - before) > self.interval_mg:
                self.steady_mg, self.since_ms = middle, t_ms
        else:
            self.steady_mg = self.since_ms = None
        return self.steady_mg != before

    def _trim(self, t_ms: int) -> None:
        """Drop what lies before the window, but keep six readings while they are recent."""
        times = self.times_ms
        drop = 0
        while (len(times) - drop > LEAST_READINGS and times[drop + 1] <= t_ms - WINDOW_MS) or times[
            drop
        ] < t_ms - LONGEST_WINDOW_MS:
            drop += 1
        if drop:
            del times[:drop], self.values_mg[:drop]

    def shown(self) -> float:
        """Return how near to steady the load is, 0 to 1, for a bar on the page."""
        if self.steady_mg is not None:
            return 1.0
        if len(self.values_mg) < 2:
            return 0.0
        spread = max(self.values_mg) - min(self.values_mg)
        settled = min(1.0, self.interval_mg / spread) if spread else 1.0
        return min(settled, len(self.values_mg) / LEAST_READINGS) * 0.95
