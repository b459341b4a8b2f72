"""Timers: what falls due when. A heap that is rebuilt from the state on loading."""

from __future__ import annotations

import heapq
from collections.abc import Iterator

from pitlogger.engine.state import EngineState
from pitlogger.rules.policies import RulePolicy


class Timers:
    """Due times with what they are for; a timer that no longer matters is passed over later."""

    def __init__(self) -> None:
        self._heap: list[tuple[int, str, str]] = []

    def set(self, due_ms: int, what: str, key: str) -> None:
        """Let ``what`` fall due at ``due_ms``."""
        heapq.heappush(self._heap, (due_ms, what, key))

    def next_ms(self) -> int | None:
        """Return when the next timer is due, ``None`` if none is set."""
        return self._heap[0][0] if self._heap else None

    def due(self, t_ms: int) -> Iterator[tuple[str, str]]:
        """Yield what is due by ``t_ms``, timers set meanwhile included."""
        while self._heap and self._heap[0][0] <= t_ms:
            _, what, key = heapq.heappop(self._heap)
            yield what, key

    def resume(self, state: EngineState, policy: RulePolicy) -> None:
        """Set the timers of a loaded state as if it had never stopped; ``Hearing`` arms its own."""
        for watch in state.watches.values():
            rule = policy.rules[watch.kind]
            if watch.pending_ms is not None:
                self.set(watch.pending_ms + rule.on_delay_ms, "delay", watch.key)
            if watch.clearing_ms is not None:
                self.set(watch.clearing_ms + rule.off_delay_ms, "delay", watch.key)
            if watch.until_ms is not None:
                self.set(watch.until_ms, "shelf", watch.key)
            if watch.again_ms is not None:
                self.set(watch.again_ms, "again", watch.key)
            if rule.realarm_ms is not None and watch.holds:
                self.set(watch.raised_ms + rule.realarm_ms, "realarm", watch.key)
        if state.loads:
            self.set(state.t_ms + 1000, "weights", "")
        for due_ms, what in ((state.forecast_ms, "forecast"), (state.minute_ms, "minute")):
            if due_ms is not None:
                self.set(due_ms, what, "")
