"""Which sources of one device cannot be read while its others can, told without a flood.

A source that fails, is read and fails again within a quiet time comes and goes: that is said
once, and holds until the source was read all through such a time.
"""

from __future__ import annotations

from pitlogger.errors import TransportError

QUIET_MS = 60_000


class Faults:
    """The sources in fault; times are milliseconds of a steady clock."""

    def __init__(self) -> None:
        self._now: dict[str, TransportError] = {}
        self._failed_ms: dict[str, int] = {}  # when it last did; also of one that is read again
        self._flickers: set[str] = set()

    def take(self, source: str, fault: TransportError, now_ms: int) -> None:
        """Take that a source failed."""
        if source in self._failed_ms and source not in self._now:
            self._flickers.add(source)
        self._now[source], self._failed_ms[source] = fault, now_ms

    def read(self, source: str, now_ms: int) -> bool:
        """Take that a source was read; return whether there is something new to tell."""
        failed_ms = self._failed_ms.get(source)
        if failed_ms is None:
            return False
        is_quiet = now_ms - failed_ms >= QUIET_MS
        if is_quiet:
            del self._failed_ms[source]
            self._flickers.discard(source)
        return source not in self._flickers and self._now.pop(source, None) is not None

    @property
    def message(self) -> str:
        """What cannot be read, and why; empty where nothing is in fault."""
        return "; ".join(
            f"{fault.message}: now and then" if source in self._flickers else fault.message
            for source, fault in self._now.items()
        )

    @property
    def remedy(self) -> str:
        """What to do about the first of them."""
        return next((fault.remedy for fault in self._now.values()), "")
