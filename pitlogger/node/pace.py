"""Whether the loop that rings gets its turn: how late it comes, and when that is an alarm."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

LATE_S = 5.0  # later than this an alarm is late too
OFTEN = 2  # so late within ``SPAN_S``; once is a computer that slept or was busy with something
SPAN_S = 60.0
WELL_AFTER_S = 300.0
REMEDY = (
    "See what else runs on this computer (`top`), and whether its card or supply is worn out;"
    " keep it cool"
)


@dataclass(slots=True)
class LoopPace:
    """How late the loop came of late. Times in seconds of one monotonic clock.

    Attributes:
        is_slow: Whether the alarm stands.
    """

    is_slow: bool = False
    _late: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=100))

    def came(self, late_s: float, now_s: float) -> bool | None:
        """Take how late the loop came; return whether the alarm begins or ends with it."""
        if late_s > LATE_S:
            self._late.append((now_s, late_s))
        recent = [at_s for at_s, _ in self._late if now_s - at_s <= SPAN_S]
        if not self.is_slow and len(recent) >= OFTEN:
            self.is_slow = True
            return True
        if self.is_slow and now_s - self._late[-1][0] > WELL_AFTER_S:
            self.is_slow = False
            return False
        return None

    def worst_s(self, now_s: float) -> float:
        """Return the most that the loop was late within the last ``WELL_AFTER_S``."""
        return max((s for at_s, s in self._late if now_s - at_s <= WELL_AFTER_S), default=0.0)
