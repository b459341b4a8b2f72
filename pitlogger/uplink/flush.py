"""When records are to go: pure rules, so that a day costs the node little.

An alert, a weighing or a stage goes at once; other entries within five seconds; spans with the
end of their ten minutes, spread over a minute so that a thousand nodes do not speak at once;
how things stand each minute, and with what is sent in between.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

from pitlogger.store.schema import BLOCK_MS

URGENT = frozenset({"alert-changed", "alert-acted", "weighed", "stage-set", "spot-read"})
WITH_SPANS = frozenset({"forecast-made", "forecast-skipped", "forecast-scored"})  # 2 of 3 entries
ENTRIES_MS = 5_000
SPREAD_MS = 60_000
NOW_EVERY_MS, NOW_LEAST_MS = 60_000, 5_000


@dataclass(slots=True)
class Flush:
    """What is due.

    Args:
        offset_ms: Of this node within the minute after a block's end, from its id.
    """

    offset_ms: int
    entries_due_ms: int | None = 0
    spans_due_ms: int = 0
    now_due_ms: int = 0

    def entered(self, kind: str, now_ms: int) -> None:
        """Take note of a new entry."""
        if kind in WITH_SPANS:
            return
        due_ms = now_ms if kind in URGENT else now_ms + ENTRIES_MS
        before = self.entries_due_ms
        self.entries_due_ms = due_ms if before is None else min(before, due_ms)
        if kind in URGENT:
            self.now_due_ms = min(self.now_due_ms, now_ms + NOW_LEAST_MS)

    def due_ms(self) -> int:
        """Return when the first of all this is due."""
        due_ms = min(self.spans_due_ms, self.now_due_ms)
        return due_ms if self.entries_due_ms is None else min(due_ms, self.entries_due_ms)

    def wants_entries(self, now_ms: int) -> bool:
        """Return whether entries are due."""
        return self.entries_due_ms is not None and self.entries_due_ms <= now_ms

    def wants_spans(self, now_ms: int) -> bool:
        """Return whether spans are due."""
        return self.spans_due_ms <= now_ms

    def wants_now(self, now_ms: int) -> bool:
        """Return whether it is time to say how things stand."""
        return self.now_due_ms <= now_ms

    def may_say_now(self, now_ms: int) -> bool:
        """Return whether how things stand goes with what is sent: not with all of a catch-up."""
        return now_ms - self.now_due_ms > NOW_LEAST_MS - NOW_EVERY_MS

    def looked(self, now_ms: int, *, spans: bool) -> None:
        """Take note that what is due is looked for now."""
        self.entries_due_ms = None
        if spans:
            block_end_ms = (now_ms // BLOCK_MS + 1) * BLOCK_MS
            self.spans_due_ms = block_end_ms + self.offset_ms

    def more(self, now_ms: int, *, spans: bool) -> None:
        """Take note that not all of what was due fitted in."""
        self.entries_due_ms = now_ms
        if spans:
            self.spans_due_ms = now_ms

    def now_sent(self, now_ms: int) -> None:
        """Take note that how things stand was said."""
        self.now_due_ms = now_ms + NOW_EVERY_MS


def offset_of(uid: str) -> int:
    """Return where in the minute a node speaks: the same for ever, spread over all nodes."""
    return zlib.crc32(uid.encode()) % SPREAD_MS
