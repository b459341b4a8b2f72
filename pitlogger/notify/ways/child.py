"""A child process that is given something to read and a time to end."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence

_SAID_LENGTH = 300


async def run_child(argv: Sequence[str], given: bytes, timeout_s: float) -> tuple[int, str]:
    """Run a program without a shell; return its exit code and the end of what it said.

    Raises:
        OSError: It cannot be run.
        TimeoutError: It did not end in time and was killed.
    """
    child = await asyncio.create_subprocess_exec(
        *argv,
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.STDOUT,
    )
    try:
        async with asyncio.timeout(timeout_s):
            said, _ = await child.communicate(given)
    finally:
        if child.returncode is None:
            child.kill()
            await child.wait()
    assert child.returncode is not None
    return child.returncode, said.decode(errors="replace").strip()[-_SAID_LENGTH:]
