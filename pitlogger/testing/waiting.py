"""Waiting in tests: for a condition, and for time that a hand turns."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from pitlogger.clock import ManualClock


async def until(condition: Callable[[], bool], patience_s: float = 3.0) -> None:
    """Return as soon as a condition holds.

    Raises:
        TimeoutError: It never held.
    """
    async with asyncio.timeout(patience_s):
        while not condition():  # noqa: ASYNC110 - what is waited for has no event
            await asyncio.sleep(0.005)


class ManualSleep:
    """A ``sleep`` that takes no time: it moves a manual clock and notes each pause.

    Attributes:
        pauses_s: Every pause asked for, in order.
    """

    def __init__(self, clock: ManualClock) -> None:
        self._clock = clock
        self.pauses_s: list[float] = []

    async def __call__(self, pause_s: float) -> None:
        """Let ``pause_s`` seconds pass at once."""
        self.pauses_s.append(pause_s)
        self._clock.advance(round(pause_s * 1000))
        await asyncio.sleep(0)
