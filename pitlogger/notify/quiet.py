"""Quiet hours: when only what wakes may be heard."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, tzinfo


@dataclass(frozen=True, slots=True)
class QuietHours:
    """From one time of day to another, both in minutes since midnight; may cross midnight.

    ``zone`` is where the person sleeps; the host's zone by default. Equal times mean never.
    """

    from_min: int
    to_min: int
    zone: tzinfo | None = None

    def holds(self, utc_ms: int) -> bool:
        """Return whether it is quiet at a time."""
        local = datetime.fromtimestamp(utc_ms / 1000, self.zone)
        minute = local.hour * 60 + local.minute
        if self.from_min <= self.to_min:
            return self.from_min <= minute < self.to_min
        return minute >= self.from_min or minute < self.to_min


NEVER_QUIET = QuietHours(0, 0)
