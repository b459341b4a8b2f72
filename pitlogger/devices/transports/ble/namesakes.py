"""Two devices of one name distinguished from one whose address changed.

A device that changes its address stops speaking under the old one. Two devices speak by turns:
one is heard again after the other was. Reading whichever is heard first would now and then
read the neighbour's.
"""

from __future__ import annotations

from itertools import combinations

from pitlogger.errors import TransportError

RECENT_S = 60.0  # ours: one that was silent for so long has left, or changed its address


class Namesakes:
    """Follows the addresses that speak under one name; times are monotonic seconds."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._spans_s: dict[str, tuple[float, float]] = {}  # first and last word, by address

    def hear(self, address: str, now_s: float) -> None:
        """Take a word of a device of that name."""
        self._forget(now_s)
        first_s, _ = self._spans_s.get(address, (now_s, now_s))
        self._spans_s[address] = (first_s, now_s)

    def trouble(self, now_s: float) -> TransportError | None:
        """Return the error of two devices that speak by turns; ``None`` while it may be one."""
        self._forget(now_s)
        for (one, (first, last)), (other, (others_first, others_last)) in combinations(
            sorted(self._spans_s.items()), 2
        ):
            if first < others_last and others_first < last:
                return TransportError(
                    f"two Bluetooth devices are called '{self._name}': {one} and {other}",
                    remedy=f'Name yours by its address, as in address = "{one}"',
                )
        return None

    def _forget(self, now_s: float) -> None:
        recent = {a: span for a, span in self._spans_s.items() if now_s - span[1] <= RECENT_S}
        self._spans_s = recent
