"""Fan-out: what happens, to everybody who listens now, without ever waiting for them.

Each listener has a bounded queue. One that cannot keep up loses the oldest events; since every
event has an id (run and sequence) it can ask for what it missed.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Any

QUEUE_LENGTH = 256


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that happened: ``kind``, its data as plain values, and an id if it has one."""

    kind: str
    data: dict[str, Any]
    id: str = ""


class Fanout:
    """Hands happenings to any number of listeners on one event loop."""

    def __init__(self) -> None:
        self._queues: set[asyncio.Queue[Happening]] = set()

    def __len__(self) -> int:
        return len(self._queues)

    def publish(self, happening: Happening) -> None:
        """Hand a happening to every listener; the oldest is dropped where a queue is full."""
        for queue in self._queues:
            if queue.full():
                queue.get_nowait()
            queue.put_nowait(happening)

    @asynccontextmanager
    async def listen(self) -> AsyncIterator[asyncio.Queue[Happening]]:
        """Yield a queue that gets everything published while the context is open."""
        queue: asyncio.Queue[Happening] = asyncio.Queue(QUEUE_LENGTH)
        self._queues.add(queue)
        try:
            yield queue
        finally:
            self._queues.discard(queue)
