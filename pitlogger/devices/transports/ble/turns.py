"""One connect at a time, since a controller makes no more; one that hangs lets the others by."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Coroutine
from typing import Any

from pitlogger.devices.tasks import end

_LOOK_S = 0.1  # between two looks at a connect that others wait for


class Turns:
    """The order in which devices of one adapter are connected to.

    The radio is free as soon as the link is there; finding out what services a device has may
    take long, and is no part of a turn.

    Args:
        turn_s: How long a connect may take while others wait. It doubles for a device that was
            cut off, so that a slow one has its way at last.
        most_s: Up to so long.
    """

    def __init__(self, turn_s: float, most_s: float = 20.0) -> None:
        self._lock = asyncio.Lock()
        self._turn_s = turn_s
        self._most_s = most_s
        self._own_s: dict[str, float] = {}
        self._waiting = 0

    async def connect(
        self,
        what: str,
        connecting: Coroutine[Any, Any, None],
        is_linked: Callable[[], Awaitable[bool]],
    ) -> None:
        """Run a connect when it is its turn.

        Raises:
            TimeoutError: It had no link yet when its turn was over.
        """
        self._waiting += 1
        try:
            await self._lock.acquire()
        except BaseException:
            connecting.close()
            raise
        finally:
            self._waiting -= 1
        task = asyncio.get_running_loop().create_task(connecting, name="ble connect")
        try:
            try:
                await self._turn(what, task, is_linked)
            finally:
                self._lock.release()
            await task
        except BaseException:
            await end(task)
            raise
        self._own_s.pop(what, None)

    async def _turn(
        self, what: str, task: asyncio.Task[None], is_linked: Callable[[], Awaitable[bool]]
    ) -> None:
        loop = asyncio.get_running_loop()
        began_s = loop.time()
        turn_s = self._own_s.get(what, self._turn_s)
        while not task.done():
            await asyncio.wait({task}, timeout=_LOOK_S)
            if task.done() or not self._waiting:
                continue
            if await is_linked():
                return
            if loop.time() - began_s >= turn_s:
                self._own_s[what] = min(2 * turn_s, self._most_s)
                await end(task)
                raise TimeoutError
