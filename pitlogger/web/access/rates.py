"""How often somebody may ask: a bucket that refills."""

from __future__ import annotations

from dataclasses import dataclass, field

MOST_KNOWN = 1000


@dataclass(slots=True)
class Rates:
    """Buckets by who asks. Times in seconds of one monotonic clock."""

    per_s: float
    burst: float
    _held: dict[str, tuple[float, float]] = field(default_factory=dict)

    def allows(self, who: str, now_s: float) -> bool:
        """Take one from the bucket of who asks; return whether there was one."""
        level, at_s = self._held.pop(who, (self.burst, now_s))
        while len(self._held) >= MOST_KNOWN:  # those who asked last stay known
            del self._held[next(iter(self._held))]
        level = min(self.burst, level + (now_s - at_s) * self.per_s)
        allowed = level >= 1.0
        self._held[who] = (level - 1.0 if allowed else level, now_s)
        return allowed
