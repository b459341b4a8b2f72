"""What happens in a cook and when: events at times or at core temperatures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pitlogger.errors import UsageError, unknown
from pitlogger_simulators.plant.boundary import place_of, wrap_of
from pitlogger_simulators.plant.properties import Array, Mask

# Action: whether it needs a value.
ACTIONS: dict[str, bool] = {
    "wrap": True,
    "unwrap": False,
    "pull": False,
    "place": True,
    "put-back": False,
    "set-point": True,
    "open-lid": True,
    "add-fuel": False,
    "fire-out": False,
    "relight": False,
    "grease-fire": False,
}


@dataclass(frozen=True, slots=True)
class PlantEvent:
    """Something done once, when every condition given holds and the event before is done.

    Attributes:
        action: One of ``ACTIONS``.
        value: A wrap, a place, a temperature (C) or seconds, as the action needs.
        at_s: Not before this time since the meat went on.
        after_s: Not before so long after the event before (or the start).
        core_c: Core at least so warm.
        below_c: Core at most so warm.
    """

    action: str
    value: str | float | None = None
    at_s: float | None = None
    after_s: float | None = None
    core_c: float | None = None
    below_c: float | None = None

    def __post_init__(self) -> None:
        if self.action not in ACTIONS:
            raise UsageError(unknown("action", self.action, ACTIONS))
        if ACTIONS[self.action] != (self.value is not None):
            wants = "a value" if ACTIONS[self.action] else "no value"
            raise UsageError(f"event '{self.action}' with value {self.value!r}: expected {wants}")
        if self.action == "wrap":
            wrap_of(str(self.value))
        elif self.action == "place":
            place_of(str(self.value))
        elif self.value is not None and not isinstance(self.value, int | float):
            raise UsageError(f"event '{self.action}' with value {self.value!r}: expected a number")

    def due(self, time_s: float, since_s: Array, core_c: Array) -> Mask:
        """Return which of n cooks have come to this event."""
        now = np.full(len(core_c), self.at_s is None or time_s >= self.at_s)
        if self.after_s is not None:
            now &= since_s >= self.after_s
        if self.core_c is not None:
            now &= core_c >= self.core_c
        if self.below_c is not None:
            now &= core_c <= self.below_c
        return now


class ScheduleProgress:
    """How far each of n cooks is in a schedule."""

    __slots__ = ("_first", "_last", "_next", "_schedule", "_since_s", "done_s")

    def __init__(self, schedule: Sequence[PlantEvent], n: int) -> None:
        self._schedule = tuple(schedule)
        self._next = np.zeros(n, int)
        self._first = self._last = 0  # events that any of the cooks waits for
        self._since_s = np.zeros(n)
        self.done_s = np.full((len(self._schedule), n), np.nan)

    def due(self, time_s: float, core_c: Array) -> list[tuple[PlantEvent, Mask]]:
        """Return the events due now with the cooks they are due for, in order."""
        out: list[tuple[PlantEvent, Mask]] = []
        i = self._first
        while i <= self._last and i < len(self._schedule):
            event = self._schedule[i]
            now = (self._next == i) & event.due(time_s, time_s - self._since_s, core_c)
            if now.any():
                self._next[now] = i + 1
                self._since_s[now] = time_s
                self.done_s[i, now] = time_s
                self._first, self._last = int(self._next.min()), int(self._next.max())
                out.append((event, now))
            i += 1
        return out
