"""A daemon whose clock runs many times as fast as life, as a program of its own.

    python -m tests.torture.fast_daemon CONFIG RATE

Prints the page's address; keeps the number of its tasks in the file ``tasks`` beside its data.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import sys
import time
from pathlib import Path

from pitlogger.config import load_config
from pitlogger.node.daemon import Daemon
from pitlogger.web.access.access import Access
from pitlogger.web.serve import serving
from pitlogger_simulators.clock import SimulatedClock

PUMP_S = 0.02


async def run(config_file: Path, rate: float) -> None:
    """Run until told to stop."""
    config = load_config(config_file)
    clock = SimulatedClock(time.time_ns() // 1_000_000, rate)
    stop = asyncio.Event()
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, stop.set)
    config.node.data.mkdir(parents=True, exist_ok=True)
    counted = os.open(config.node.data / "tasks", os.O_WRONLY | os.O_CREAT)
    async with Daemon(config, clock) as daemon, serving(daemon, Access(config)) as address:
        print(address or "", flush=True)
        while not stop.is_set():
            clock.pump()
            os.pwrite(counted, b"%6d" % len(asyncio.all_tasks()), 0)
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(stop.wait(), PUMP_S)


if __name__ == "__main__":
    asyncio.run(run(Path(sys.argv[1]), float(sys.argv[2])))
