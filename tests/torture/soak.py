"""Soak: days of cooking in minutes, a device of every kind, all clients, a page open all the while.

    python -m tests.torture.soak [--hours 72] [--rate 1440] [--seed N]

Devices lose their links and come back, cooks begin and end. Memory, descriptors, tasks and
threads of the daemon must be flat: compared are the second quarter, by when everything has
been used, and the end. Exit code 1 where they are not.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import sys
import tempfile
import time
from pathlib import Path
from random import Random
from statistics import median
from typing import NamedTuple

from tests.torture.node import crowding
from tests.torture.soak_kitchen import COOK, SoakKitchen

GROWTH_BAR_MB = 0.5  # a day
SPARE = 2  # descriptors, tasks and threads that may come with work, not with time
COOK_H = 14.0
PAGE = os.sysconf("SC_PAGE_SIZE")


class Sample(NamedTuple):
    """What the process holds at a simulated hour."""

    hour: float
    rss_mb: float
    descriptors: int
    threads: int
    tasks: int


def sample(kitchen: SoakKitchen, hour: float) -> Sample:
    own = Path(f"/proc/{kitchen.pid}")
    pages = int((own / "statm").read_text(encoding="ascii").split()[1])
    fds, threads = len(os.listdir(own / "fd")), len(os.listdir(own / "task"))
    tasks = int((kitchen.folder / "data" / "tasks").read_text(encoding="ascii") or 0)
    return Sample(hour, pages * PAGE / 1e6, fds, threads, tasks)


async def soak(kitchen: SoakKitchen, hours: float) -> tuple[list[Sample], list[str]]:
    """Cook for so many simulated hours; return samples and what was wrong."""
    samples: list[Sample] = []
    async with kitchen.at_work():
        await _ask(kitchen, "/cooks", toml=COOK, by="AB")
        began_s = time.monotonic()
        next_cook_h = COOK_H
        while (hour := (time.monotonic() - began_s) * kitchen.rate / 3600) < hours:
            await asyncio.sleep(0.5)
            samples.append(sample(kitchen, hour))
            (await kitchen.client.get("/status")).raise_for_status()
            if hour >= next_cook_h:
                next_cook_h += COOK_H
                await _ask(kitchen, "/cooks/finish", by="AB", confirm="served or handed over")
                await _ask(kitchen, "/cooks", toml=COOK, by="AB")
        status = (await kitchen.client.get("/status")).json()
        ended_s = time.monotonic()
        code = await kitchen.stop()
        took_s = (time.monotonic() - ended_s) / crowding()
    faults = [f"ended with {code} after {took_s:.1f} s"] if code or took_s > 3 else []
    read = {row["channel"] for row in status["channels"] if row["at"] is not None}
    faults += [f"never read: {channel}" for channel in sorted(kitchen.channels - read)]
    faults += [f"nothing came by {way}" for way, count in kitchen.heard.items() if not count]
    return samples, faults + _growth(samples)


async def _ask(kitchen: SoakKitchen, path: str, **body: str) -> None:
    (await kitchen.client.post(path, json=body)).raise_for_status()


def _growth(samples: list[Sample]) -> list[str]:
    """Return what grew from the second quarter to the end."""
    tenth = max(3, len(samples) // 10)
    start = samples[len(samples) // 4 :][:tenth]
    end = samples[-tenth:]
    days = (end[0].hour - start[0].hour) / 24
    grew_mb = (median(s.rss_mb for s in end) - median(s.rss_mb for s in start)) / days
    faults = []
    if grew_mb > GROWTH_BAR_MB:
        faults.append(f"memory grew by {grew_mb:.2f} MB a day; the bar is {GROWTH_BAR_MB} MB")
    for what in ("descriptors", "threads", "tasks"):
        before, after = (median(getattr(s, what) for s in part) for part in (start, end))
        if after > before + SPARE:
            faults.append(f"{what} grew from {before} to {after}")
    return faults


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.torture.soak", description=__doc__)
    parser.add_argument("--hours", type=float, default=72.0)
    parser.add_argument("--rate", type=float, default=1440.0)
    parser.add_argument("--seed", type=int, default=Random().randrange(1 << 30))
    given = parser.parse_args()
    print(f"seed {given.seed}; {given.hours:g} h at {given.rate:g} times life", flush=True)
    with tempfile.TemporaryDirectory(prefix="pitlogger-soak-") as folder:
        kitchen = SoakKitchen(Path(folder), given.rate, given.seed)
        samples, faults = asyncio.run(soak(kitchen, given.hours))
    print(f"devices: {', '.join(kitchen.devices)}; heard: {kitchen.heard}")
    print(f"{'hour':>6} {'MB':>8} {'descriptors':>12} {'threads':>8} {'tasks':>6}")
    for shown in samples[:: max(1, len(samples) // 12)]:
        print(f"{shown.hour:6.1f} {shown.rss_mb:8.1f} {shown.descriptors:12} {shown.threads:8}"
              f" {shown.tasks:6}")  # fmt: skip
    print("\n".join(faults) or "flat: memory, descriptors, threads and tasks")
    sys.exit(bool(faults))


if __name__ == "__main__":
    main()
