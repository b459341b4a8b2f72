"""How long to wait before the next attempt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Pace:
    """Pauses between attempts, seconds: doubling up to a cap, afresh after a stable while.

    A radio is shared by all its devices, so a missing one must not keep it busy. Trying a port
    or a broker costs nobody anything, and nothing tells when what is behind it is on again.
    """

    first_s: float = 0.5
    cap_s: float = 60.0
    wired_cap_s: float = 6.0
    stable_s: float = 60.0

    def of(self, transport: str) -> Pace:
        """Return the pace for a way, as drivers name it."""
        if transport.startswith("ble"):
            return self
        return replace(self, cap_s=min(self.cap_s, self.wired_cap_s))


class Backoff:
    """Counts failures of one device.

    Args:
        pace: Lengths of the pauses.
        chance: Returns a number from 0 to 1; spreads devices that failed together.
    """

    def __init__(self, pace: Pace, chance: Callable[[], float]) -> None:
        self._pace = pace
        self._chance = chance
        self._failures = 0

    def after(self, lasted_s: float) -> float:
        """Return the pause after an attempt that lasted so long: half of it, and chance."""
        if lasted_s >= self._pace.stable_s:
            self._failures = 0
        full_s = min(self._pace.cap_s, self._pace.first_s * 2.0 ** min(self._failures, 16))
        self._failures += 1
        return full_s * (0.5 + 0.5 * self._chance())

    def reset(self) -> None:
        """Begin afresh, since the device has come back by itself."""
        self._failures = 0
