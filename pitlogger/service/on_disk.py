"""Waiting for the disk, but not for ever: who asks is answered, even by a daemon that ends."""

from __future__ import annotations

import asyncio
from concurrent.futures import Future
from typing import Any

from pitlogger.errors import StoreError

WAIT_S = 1.8
LAST_WAIT_S = 0.3


async def on_disk(
    flush: Future[None], stopping: asyncio.Event, within_s: float | None = WAIT_S
) -> bool:
    """Wait until a flush is done; return whether it was done in time.

    Raises:
        StoreError: The daemon ends and the disk has not taken it.
    """
    flushed = asyncio.wrap_future(flush)
    ending = asyncio.create_task(stopping.wait())
    both: set[asyncio.Future[Any]] = {flushed, ending}
    await asyncio.wait(both, timeout=within_s, return_when=asyncio.FIRST_COMPLETED)
    ending.cancel()
    if not flushed.done() and not stopping.is_set():
        flushed.cancel()
        return False
    await asyncio.wait([flushed], timeout=LAST_WAIT_S)
    if not flushed.done():
        flushed.cancel()
        raise StoreError("the daemon ends and the disk has not taken this: ask again later")
    flushed.result()
    return True
