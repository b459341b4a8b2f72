"""Tasks that live and end together, and cancellations that must not get lost."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from typing import Any


async def together(*works: Coroutine[Any, Any, None], name: str = "") -> None:
    """Do all at once until one ends or fails; then end the others and pass its fault on.

    Unlike a task group it never swallows a cancellation that comes together with a fault.
    """
    tasks = [asyncio.create_task(work, name=name or None) for work in works]
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
    for task in done:
        task.result()
