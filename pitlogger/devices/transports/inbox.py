"""Where callbacks leave bytes for the one who reads them."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator

from pitlogger.devices.contract import Chunk
from pitlogger.errors import TransportError


class Inbox:
    """Chunks in order of arrival, until the transport fails."""

    def __init__(self) -> None:
        self._queue: asyncio.Queue[Chunk | TransportError] = asyncio.Queue()

    def put(self, source: str, data: bytes) -> None:
        """Leave bytes."""
        self._queue.put_nowait(Chunk(source, data))

    def put_fault(self, source: str, fault: TransportError) -> None:
        """Leave word that one source has nothing to say, and why."""
        self._queue.put_nowait(Chunk(source, b"", fault))

    def fail(self, error: TransportError) -> None:
        """Let the reader end with an error, after what lies before it."""
        self._queue.put_nowait(error)

    async def chunks(self) -> AsyncIterator[Chunk]:
        """Yield chunks as they arrive.

        Raises:
            TransportError: The one given to ``fail``.
        """
        while True:
            entry = await self._queue.get()
            if isinstance(entry, TransportError):
                raise entry
            yield entry
