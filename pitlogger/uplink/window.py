"""Which bundles are on their way, and when one is sent again. Pure; time comes with each call.

Only a receipt ends a bundle: the link between may lose, double and reorder. The pause before
a bundle is sent again is four times the smoothed time of a receipt, at least 20 s, doubled
with each try up to ten minutes, spread by a quarter. Where the other side has forgotten the
session, all go again within two seconds. Each of these was found needed by measurement (see
docs/decisions/0011-fleet.md); the smoothing is that of RFC 6298 (alpha = 1/8).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

SIZE = 4
LEAST_MS, MOST_MS = 20_000, 600_000
FACTOR = 4
SPREAD = 0.25
SOON_MS = 2_000
NEVER_MS = 1 << 62


@dataclass(slots=True)
class Outstanding:
    """A bundle without a receipt."""

    number: int
    body: bytes
    first_ms: int
    due_ms: int
    pause_ms: float
    sends: int = 1


@dataclass(slots=True)
class Window:
    """Bundles on their way, oldest first.

    Args:
        chance: Spreads what is sent again; 0 to 1.
    """

    chance: Callable[[], float]
    size: int = SIZE
    outstanding: dict[int, Outstanding] = field(default_factory=dict)
    smoothed_ms: float | None = None
    last_receipt_ms: int | None = None

    @property
    def has_room(self) -> bool:
        """Whether another bundle may be sent."""
        return len(self.outstanding) < self.size

    def sent(self, number: int, body: bytes, now_ms: int) -> None:
        """Take a bundle that was sent for the first time."""
        pause_ms = max(float(LEAST_MS), FACTOR * (self.smoothed_ms or 0.0))
        due_ms = now_ms + self._spread(min(pause_ms, MOST_MS))
        self.outstanding[number] = Outstanding(number, body, now_ms, due_ms, pause_ms)

    def receipt(self, number: int, now_ms: int) -> bool:
        """Take a receipt; return whether it was for a bundle that waited for it."""
        self.last_receipt_ms = now_ms
        one = self.outstanding.pop(number, None)
        if one is None:
            return False
        if one.sends == 1:  # else it is not known which sending it answers (Karn's rule)
            took_ms = now_ms - one.first_ms
            before = self.smoothed_ms
            self.smoothed_ms = took_ms if before is None else before + (took_ms - before) / 8
        return True

    def due(self, now_ms: int) -> list[Outstanding]:
        """Return what is to be sent again now, and reckon it as sent."""
        again = [one for one in self.outstanding.values() if one.due_ms <= now_ms]
        for one in again:
            one.sends += 1
            one.pause_ms = min(2 * one.pause_ms, MOST_MS)
            one.due_ms = now_ms + self._spread(one.pause_ms)
        return again

    def next_due_ms(self) -> int:
        """Return when something is to be sent again, far from now where nothing waits."""
        return min((one.due_ms for one in self.outstanding.values()), default=NEVER_MS)

    def forgotten(self, now_ms: int) -> None:
        """Let all go again soon: the other side has lost what was on its way."""
        for one in self.outstanding.values():
            one.due_ms = now_ms + round(SOON_MS * self.chance())

    def oldest_ms(self) -> int | None:
        """Return since when the oldest bundle has waited."""
        return min((one.first_ms for one in self.outstanding.values()), default=None)

    def _spread(self, pause_ms: float) -> int:
        return round(pause_ms * (1 - SPREAD / 2 + SPREAD * self.chance()))
