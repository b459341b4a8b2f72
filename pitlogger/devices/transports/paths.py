"""Waiting for a device node or file that comes and goes with its plug."""

from __future__ import annotations

import asyncio
import os

LOOK_S = 1.0  # one look costs a few microseconds


async def path_appears(path: str) -> None:
    """Return when a path that was missing exists; never while it stays as it was."""
    while os.path.exists(path):  # noqa: ASYNC110, ASYNC240 - one system call
        await asyncio.sleep(LOOK_S)
    while not os.path.exists(path):  # noqa: ASYNC110, ASYNC240
        await asyncio.sleep(LOOK_S)
