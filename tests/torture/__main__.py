"""The fault bench: a real daemon, killed, starved, cut off, shaken; then held against its word.

    python -m tests.torture [--kills N] [--cuts N] [--pulls N] [--gusts N] [--seed N]
                            [--alarms N] [--flips N] [--minutes N] [--pace S] [--only ID,...]

Prints a table and writes ``build/torture.json``. The exit code is 1 where a bar is not met;
the seed brings the same dice again.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from random import Random

from tests.torture.broker_storm import broker_storm
from tests.torture.clocks import clocks
from tests.torture.damage import damage
from tests.torture.disks import disks
from tests.torture.fire import fire, rot_row
from tests.torture.kills import kills
from tests.torture.memory import memory
from tests.torture.power import power
from tests.torture.row import Row
from tests.torture.storms import storm
from tests.torture.together import together
from tests.torture.twins import twins

KILLS, CUTS, PULLS, GUSTS = 102, 300, 100, 15
ALARMS, FLIPS = 30, 100
MINUTES, PACE_S = 7, 10.0  # alarms with all at once, and the time of each; in life 120 and 60
MEMORY_TIMES = 5
# Mean time between requests and longest life of the three nodes that are killed at once: a
# busy one, one as in life, and a quiet one, which alone can lose readings.
_LIVES = ((0.15, 4.0), (0.7, 7.0), (30.0, 14.0))

Bench = Callable[[Path], list[Row]]


def benches(
    kill_times: int, cuts: int, pulls: int, gusts: int, seed: int,
    alarms: int = ALARMS, flips: int = FLIPS, minutes: int = MINUTES, pace_s: float = PACE_S,
) -> dict[str, Bench]:  # fmt: skip
    """Return the benches by their id."""

    def killed(folder: Path) -> list[Row]:
        with ThreadPoolExecutor(len(_LIVES)) as pool:
            under_way = [
                pool.submit(kills, folder / str(n), kill_times // len(_LIVES), seed + n, *life)
                for n, life in enumerate(_LIVES)
            ]
            return [_told(each, seed) for each in under_way]

    return {
        "kill": killed,
        "power": lambda folder: [power(folder, cuts, seed)],
        "disk": lambda folder: disks(folder, seed),
        "damage": lambda folder: damage(folder, seed),
        "clock": lambda folder: clocks(folder, seed),
        "devices": lambda folder: [storm(folder, pulls, seed)],
        "broker": lambda folder: broker_storm(folder, gusts, seed),
        "fire": lambda folder: [fire(folder, alarms, seed)],
        "rot": lambda folder: [rot_row(folder, flips, flips // 5, seed)],
        "memory": lambda folder: [memory(folder, MEMORY_TIMES, seed)],
        "together": lambda folder: [together(folder, minutes, seed, pace_s)],
        "twins": lambda folder: [twins(folder, seed)],
    }


def _told(under_way: Future[Row], seed: int) -> Row:
    """Return a row, or that its bench broke down, so that the others' are not lost."""
    error = under_way.exception()
    return under_way.result() if error is None else _broken_down("kill", error, seed)


def _broken_down(name: str, error: BaseException, seed: int) -> Row:
    return Row(name, "broke down", 1, [f"{type(error).__name__}: {error}"], "", seed)


def tortured(chosen: dict[str, Bench], seed: int) -> Iterator[Row]:
    """Run benches one after the other; one that breaks down is a row with its fault."""
    for name, bench in chosen.items():
        with tempfile.TemporaryDirectory(prefix="pitlogger-torture-") as folder:
            try:
                yield from bench(Path(folder) / name)
            except Exception as error:
                yield _broken_down(name, error, seed)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.torture", description=__doc__)
    parser.add_argument("--kills", type=int, default=KILLS)
    parser.add_argument("--cuts", type=int, default=CUTS)
    parser.add_argument("--pulls", type=int, default=PULLS)
    parser.add_argument("--gusts", type=int, default=GUSTS)
    parser.add_argument("--seed", type=int, default=Random().randrange(1 << 30))
    parser.add_argument("--only", default="", help="ids, separated by commas")
    parser.add_argument("--alarms", type=int, default=ALARMS)
    parser.add_argument("--flips", type=int, default=FLIPS)
    parser.add_argument("--minutes", type=int, default=MINUTES)
    parser.add_argument("--pace", type=float, default=PACE_S)
    given = parser.parse_args()
    known = benches(
        given.kills, given.cuts, given.pulls, given.gusts, given.seed, given.alarms, given.flips,
        given.minutes, given.pace,
    )  # fmt: skip
    wanted = given.only.split(",") if given.only else list(known)
    if strange := [name for name in wanted if name not in known]:
        parser.error(f"unknown: {', '.join(strange)}; known: {', '.join(known)}")
    print(f"seed {given.seed}", flush=True)
    began_s = time.monotonic()
    rows = []
    for row in tortured({name: known[name] for name in wanted}, given.seed):
        rows.append(row)
        verdict = "met" if not row.faults else "NOT MET"
        print(f"{row.id:8}  {row.what:48}  {verdict:8} {row.shown}", flush=True)
        for fault in row.faults[:10]:
            print(f"{'':10}{fault}", flush=True)
    print(f"{time.monotonic() - began_s:.0f} s")
    Path("build").mkdir(exist_ok=True)
    Path("build/torture.json").write_text(
        json.dumps([row._asdict() for row in rows], indent=1), encoding="utf-8"
    )
    sys.exit(any(row.faults for row in rows))


if __name__ == "__main__":
    main()
