"""Ending tasks without swallowing one's own cancellation."""

from __future__ import annotations

import asyncio
from typing import Any


def heed_cancelling() -> None:
    """Raise the cancellation of the running task that a library swallowed.

    ``asyncio.wait_for`` of Python 3.11 returns a result that is there at the same moment
    instead, and the libraries for Modbus and MQTT wait with it; the task would run for ever.
    Likewise a context manager whose end fails raises its own fault in place of the cancellation,
    as that of aiomqtt's client does when the broker is gone.

    Raises:
        asyncio.CancelledError: The task was asked to end.
    """
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError


async def end(*tasks: asyncio.Future[Any]) -> None:
    """Cancel tasks and return when they have ended; what they raised is dropped.

    Awaiting a cancelled task within ``suppress(CancelledError)`` would hide a cancellation
    of the waiting task itself, which then could not be stopped any more.
    """
    for task in tasks:
        task.cancel()
    if tasks:
        await asyncio.wait(tasks)
    for task in tasks:
        if not task.cancelled():
            task.exception()
