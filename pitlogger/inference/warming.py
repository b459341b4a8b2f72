"""How fast a core warms on the pit, as a share of its distance to it, and when that changed.

Bare meat sheds heat by what evaporates; once wrapped its core warms faster. That is felt about as
much later as heat took to reach the core when the piece was put on.
"""

from __future__ import annotations

import math
from bisect import bisect
from dataclasses import dataclass, field

LEAST_DRIVE_C = 12.0
EARLY_C = (15.0, 55.0)  # before the stall
SOONEST_MIN, LATEST_MIN = 8.0, 70.0  # until heat reaches a core
BEFORE_MIN = 40.0
FELT_MIN, STEP_MS = 25.0, 120_000
LEAST_PACE, AT_MOST = 0.01, 1.2
LEAST = 5  # looks
MOST = 90


@dataclass(slots=True)
class Warming:
    """The shares of the distance to the pit by which a core warms an hour; plain fields.

    Attributes:
        paces: The last ones, as (milliseconds, share an hour).
        steps: When the slope was steepest so far while cold, as (milliseconds, degC per hour).
    """

    paces: list[tuple[int, float]] = field(default_factory=list)
    steps: list[tuple[int, float]] = field(default_factory=list)

    def take(self, t_ms: int, core_c: float, slope: float, pit_c: float) -> None:
        """Take one look at a piece."""
        drive = pit_c - core_c
        if drive < LEAST_DRIVE_C:
            return
        self.paces.append((t_ms, slope / drive))
        del self.paces[:-MOST]
        if core_c < EARLY_C[1] and slope > (self.steps[-1][1] if self.steps else 0.0):
            self.steps.append((t_ms, slope))
            if len(self.steps) > MOST:
                del self.steps[::2]

    def lag_min(self, on_ms: int) -> float:
        """Return how many minutes heat took to reach the core of what was put on then."""
        if not self.steps:
            return SOONEST_MIN
        half = self.steps[-1][1] / 2
        reached_ms = next(ms for ms, slope in self.steps if slope >= half)
        return min(LATEST_MIN, max(SOONEST_MIN, (reached_ms - on_ms) / 60_000))

    def log_let_go(self, wrapped_ms: int, t_ms: int, lag_min: float) -> float:
        """Return the log-likelihood ratio of a wrap at that time to none, once it is felt.

        By how much more a core warms afterwards tells some; many wraps help little, and bare meat
        that has dried warms faster too.
        """
        felt_ms = wrapped_ms + round((1.1 * lag_min + FELT_MIN) * 60_000)
        if not felt_ms <= t_ms < felt_ms + STEP_MS:
            return 0.0
        before = self.pace(wrapped_ms - round(BEFORE_MIN * 60_000), wrapped_ms)
        after = self.pace(t_ms - round(FELT_MIN * 60_000), t_ms)
        if before is None or after is None:
            return 0.0
        gain = math.log(max(after, LEAST_PACE) / max(before, LEAST_PACE))
        bare = 0.85 * _normal(gain, -0.1, 0.45) + 0.15 * _normal(gain, 0.3, 1.2)
        let_go = 0.5 * _normal(gain, 0.25, 0.4) + 0.5 * _normal(gain, 1.0, 0.7)
        return max(-AT_MOST, min(AT_MOST, math.log(let_go / bare)))

    def pace(self, from_ms: int, to_ms: int) -> float | None:
        """Return the middle share between two times, ``None`` where too little is known."""
        paces = self.paces
        known = paces[bisect(paces, (from_ms, -9.0)) : bisect(paces, (to_ms, 9.0))]
        if len(known) < LEAST:
            return None
        return sorted(pace for _, pace in known)[len(known) // 2]


def _normal(x: float, mean: float, sd: float) -> float:
    return math.exp(-0.5 * ((x - mean) / sd) ** 2) / sd
