"""Sensors read by a blocking call: in a thread, at a steady pace.

A 1-Wire conversion blocks its reader for up to 750 ms (Linux kernel documentation, w1_therm),
so such a file is never read on the event loop.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Iterable

from pitlogger.devices.contract import Chunk
from pitlogger.devices.transports.paths import LOOK_S
from pitlogger.errors import SilentError, TransportError

Read = Callable[[], Iterable[Chunk]]


class PolledTransport:
    """Call ``read`` every ``every_s`` seconds, in a thread.

    Args:
        read: Returns chunks; raises OSError where the sensor is gone or busy.
        every_s: Pace, seconds; a read that takes longer sets the pace itself.
        present: Tells whether the sensor is there; may block for a moment.
        what: The sensor in words.
        tries: Failed reads in a row after which the sensor counts as gone.
        instead: Tells what is there in its place, and what to do; may block for a moment.
    """

    def __init__(
        self,
        read: Read,
        every_s: float,
        *,
        present: Callable[[], bool],
        what: str,
        tries: int = 3,
        instead: Callable[[], tuple[str, str]] = lambda: ("", ""),
    ) -> None:
        self._read = read
        self._every_s = every_s
        self._present = present
        self._what = what
        self._tries = tries
        self._instead = instead

    async def __aenter__(self) -> PolledTransport:
        return self

    async def __aexit__(self, *exc: object) -> None:
        return None

    async def send(self, data: bytes) -> None:
        """Refuse: a sensor is only read."""
        raise TransportError(f"{self._what} takes no commands ({data.hex()})")

    async def appears(self) -> None:
        """Return when a missing sensor is there."""
        while await asyncio.to_thread(self._present):  # noqa: ASYNC110 - sysfs has no events
            await asyncio.sleep(LOOK_S)
        while not await asyncio.to_thread(self._present):  # noqa: ASYNC110
            await asyncio.sleep(LOOK_S)

    async def chunks(self) -> AsyncIterator[Chunk]:
        """Yield what the sensor's files hold.

        Raises:
            SilentError: Several reads in a row failed.
        """
        loop = asyncio.get_running_loop()
        failed = 0
        while True:
            began_s = loop.time()
            try:
                found = list(await asyncio.to_thread(self._read))
                failed = 0
            except OSError as error:
                failed += 1
                if failed >= self._tries or not await asyncio.to_thread(self._present):
                    raise await asyncio.to_thread(self._gone, error) from error
                found = []
            for chunk in found:
                yield chunk
            await asyncio.sleep(max(0.0, began_s + self._every_s - loop.time()))

    def _gone(self, error: OSError) -> SilentError:
        seen, remedy = self._instead()
        return SilentError(  # the next attempt opens as well, and reads nothing either
            f"{self._what} cannot be read ({error.strerror or error}: {error.filename}){seen}",
            remedy=remedy
            or "Check its wiring, and that its kernel module is loaded: pitlogger devices doctor",
        )
