"""Hearing: when a channel was last heard, and when its silence is reported.

A timer is armed for each channel and moved on as it is heard, not with each reading but each
time it falls due. It never comes later than the channel's own limit.
"""

from __future__ import annotations

from pitlogger.engine.annunciator import Annunciator
from pitlogger.engine.compiled_channel import (
    STALE_LEAST_MS,
    Lane,
    silence_limit_ms,
    silence_matters,
)
from pitlogger.engine.state import GAPS_KEPT
from pitlogger.engine.timers import Timers
from pitlogger.model.book import Book

SOMETIME_MS = 1 << 62  # of a timer that is not set


class Hearing:
    """Tells silence with the annunciator; armed anew whenever the engine is made."""

    def __init__(self, timers: Timers, alerts: Annunciator) -> None:
        self._timers = timers
        self._alerts = alerts
        self._armed: dict[str, int] = {}

    def heard(self, lane: Lane, t_ms: int) -> int:
        """Note that a channel was heard; return the time since it last was."""
        state = lane.state
        gap_ms = t_ms - state.heard_ms
        if state.heard_ms < 0:
            gap_ms = 0
        elif lane.interval_ms is None:
            if len(state.gaps_ms) == GAPS_KEPT:
                del state.gaps_ms[0]
            state.gaps_ms.append(gap_ms)
        state.heard_ms = t_ms
        if state.stale:
            state.stale = False
            if lane.stale_key is not None:
                self._alerts.condition(lane.stale_key, t_ms, False)
        # Where the median interval grew shorter, so did the limit that the timer was set by.
        if self._armed.get(state.id, SOMETIME_MS) > t_ms + STALE_LEAST_MS + 1:
            self.arm(lane)
        return gap_ms

    def arm(self, lane: Lane) -> None:
        """Set the timer of a channel, or bring it forward where its limit has become shorter."""
        state = lane.state
        if state.heard_ms < 0 or state.stale:
            return
        due_ms = state.heard_ms + min(STALE_LEAST_MS, silence_limit_ms(lane)) + 1
        if state.id not in self._armed or due_ms < self._armed[state.id]:
            self._armed[state.id] = due_ms
            self._timers.set(due_ms, "silence", state.id)

    def fell_due(self, lane: Lane, book: Book, t_ms: int) -> None:
        """Look whether a channel is silent, now that its timer fell due."""
        state = lane.state
        if t_ms < self._armed.get(state.id, 0):
            return  # an earlier timer took this one's place
        self._armed.pop(state.id, None)
        if state.stale or state.heard_ms < 0:
            return
        limit_ms = silence_limit_ms(lane)
        if t_ms - state.heard_ms <= limit_ms:
            self._armed[state.id] = state.heard_ms + limit_ms + 1
            self._timers.set(self._armed[state.id], "silence", state.id)
            return
        state.stale = True
        self._alerts.freeze(lane.limits)
        if lane.stale_key is not None and silence_matters(lane, book):
            self._alerts.condition(lane.stale_key, t_ms, True)
