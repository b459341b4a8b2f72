"""Soak: days of cooking in minutes, devices that come and go, a page open all the while.

    python -m tests.torture.soak [--hours 72] [--rate 1440] [--seed N]

Memory, descriptors and threads of the daemon must be flat: compared are the first quarter, by
when everything has been used once, and the end. Exit code 1 where they are not.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path
from random import Random
from statistics import median
from typing import Any, NamedTuple

from tests.torture import node as nodes
from tests.torture.node import node, until

GROWTH_BAR_MB = 1.0  # a day
SPARE = 2  # descriptors and threads
COOK_H = 14.0
PAGE = os.sysconf("SC_PAGE_SIZE")


class Sample(NamedTuple):
    """What the process holds at a simulated hour."""

    hour: float
    rss_mb: float
    descriptors: int
    threads: int


def sample(pid: int, hour: float) -> Sample:
    own = Path(f"/proc/{pid}")
    pages = int((own / "statm").read_text(encoding="ascii").split()[1])
    fds, tasks = len(os.listdir(own / "fd")), len(os.listdir(own / "task"))
    return Sample(hour, pages * PAGE / 1e6, fds, tasks)


def soak(folder: Path, hours: float, rate: float, seed: int) -> tuple[list[Sample], list[str]]:
    """Run a daemon for so many simulated hours; return samples and what was wrong."""
    dice = Random(seed)
    samples: list[Sample] = []
    told: list[dict[str, Any]] = []
    program = [sys.executable, "-m", "tests.torture.fast_daemon"]
    with node(folder) as soaked:
        soaked.start(command=[*program, str(soaked.config), str(rate)])
        soaked.start_cook()
        soaked.listen(told)
        assert soaked.process is not None
        began_s = time.monotonic()
        next_cook_h = COOK_H
        while (hour := (time.monotonic() - began_s) * rate / 3600) < hours:
            time.sleep(0.5)
            samples.append(sample(soaked.process.pid, hour))
            soaked.get("/status")
            soaked.board.core_c = 20 + 70 * (hour % COOK_H) / COOK_H
            if dice.random() < 0.1:
                soaked.board.pull()
                time.sleep(dice.uniform(0, 0.3))
                soaked.board.plug_in()
            if hour >= next_cook_h:
                next_cook_h += COOK_H
                soaked.post("/cooks/finish", by="AB")
                soaked.start_cook()
        until("the board is still read", lambda: len(told) > 0)
        code, took_s = soaked.stop()
    faults = [f"ended with {code} after {took_s:.1f} s"] if code or took_s > 3 else []
    return samples, faults + _growth(samples)


def _growth(samples: list[Sample]) -> list[str]:
    """Return what grew from the first quarter on."""
    tenth = max(3, len(samples) // 10)
    start = samples[len(samples) // 4 :][:tenth]
    end = samples[-tenth:]
    days = (end[0].hour - start[0].hour) / 24
    grew_mb = (median(s.rss_mb for s in end) - median(s.rss_mb for s in start)) / days
    faults = []
    if grew_mb > GROWTH_BAR_MB:
        faults.append(f"memory grew by {grew_mb:.2f} MB a day; the bar is {GROWTH_BAR_MB} MB")
    for what in ("descriptors", "threads"):
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
    nodes.READY_S = 60.0
    with tempfile.TemporaryDirectory(prefix="pitlogger-soak-") as folder:
        samples, faults = soak(Path(folder), given.hours, given.rate, given.seed)
    print(f"seed {given.seed}; {given.hours:g} h at {given.rate:g} times life")
    print(f"{'hour':>6} {'MB':>8} {'descriptors':>12} {'threads':>8}")
    for shown in samples[:: max(1, len(samples) // 12)]:
        print(f"{shown.hour:6.1f} {shown.rss_mb:8.1f} {shown.descriptors:12} {shown.threads:8}")
    print("\n".join(faults) or "flat: memory, descriptors and threads")
    sys.exit(bool(faults))


if __name__ == "__main__":
    main()
