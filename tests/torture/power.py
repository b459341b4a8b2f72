"""Power cuts: a run is recorded write by write, then cut at many random moments.

At each cut the disk is made up again from what was synced and a random, torn part of what was
not, and opened as the next start would.
"""

from __future__ import annotations

import tempfile
import time
from bisect import bisect_left
from dataclasses import dataclass
from pathlib import Path
from random import Random

from pitlogger.errors import PitloggerError
from pitlogger.store import RunRow, Store
from tests.torture.ledger import Ledger, faults_of, gone_s, held_in, holes, writing
from tests.torture.node import node
from tests.torture.row import Row
from tests.torture.shim import Disk, Op, Shim, read_log

GONE_BAR_S = 10.0


@dataclass(frozen=True, slots=True)
class Recorded:
    """A run as it went onto the disk, and what had been promised meanwhile."""

    ops: list[Op]
    ledger: Ledger
    sent: list[float]
    data: Path
    born_s: float
    ended_s: float


def recorded(folder: Path, seed: int, lasts_s: float) -> Recorded:
    """Run a daemon on a recording disk: busy, then quiet, then told to end."""
    folder.mkdir(parents=True, exist_ok=True)
    shim = Shim(folder, folder / "data", record=True)
    assert shim.log is not None
    with node(folder, shim) as watched:
        watched.start()
        born_s = time.monotonic()
        watched.start_cook()
        with writing(watched, seed, pause_s=0.01) as writer:
            time.sleep(lasts_s / 2)
        with writing(watched, seed + 1, pause_s=4.0) as calm:
            time.sleep(lasts_s / 2)
        watched.stop()
        ledger = Ledger(writer.ledger.told | calm.ledger.told)
        ops = list(read_log(shim.log))
        sent = list(watched.board.sent)
    return Recorded(ops, ledger, sent, folder / "data", born_s, ops[-1].at_s)


def power(folder: Path, cuts: int, seed: int, lasts_s: float = 20.0) -> Row:
    """Cut one recorded run at ``cuts`` moments; return what the disks say of it."""
    run = recorded(folder, seed, lasts_s)
    faults, gone_s = cut_at_random(run, run.ops, cuts, Random(seed))
    shown = (
        f"{len(run.ops)} writes and syncs, {len(run.ledger.told)} entries acknowledged;"
        f" at most {gone_s:.1f} s of readings gone"
    )
    return Row("power", f"{cuts} power cuts, writes dropped and torn", cuts, faults, shown, seed)


def cut_at_random(run: Recorded, ops: list[Op], cuts: int, dice: Random) -> tuple[list[str], float]:
    """Cut at random operations and at random times, which fall between them.

    Returns:
        What was wrong, and the longest time of which readings were gone.
    """
    begun = next(i for i, op in enumerate(ops) if op.at_s >= run.born_s)
    times = [op.at_s for op in ops]
    moments = [(at, times[at]) for at in (dice.randrange(begun, len(ops)) for _ in range(cuts))]
    for number in range(0, cuts, 2):
        cut_s = dice.uniform(run.born_s, run.ended_s)
        moments[number] = bisect_left(times, cut_s), cut_s
    disk = Disk(run.data)
    done = 0
    faults: list[str] = []
    worst_gone_s = 0.0
    for moment, cut_s in sorted(moments):
        for op in ops[done:moment]:
            disk.do(op)
        done = moment
        found, gone = _after(disk, run, cut_s, dice)
        worst_gone_s = max(worst_gone_s, gone)
        faults += [f"cut before operation {moment}: {fault}" for fault in found]
    return faults, worst_gone_s


def _after(disk: Disk, run: Recorded, cut_s: float, dice: Random) -> tuple[list[str], float]:
    """Return what is wrong after a cut, and how many seconds of readings are gone."""
    with tempfile.TemporaryDirectory() as name:
        target = Path(name)
        disk.cut(target, dice)
        database = target / "pitlogger.db"
        try:
            Store.open(database, RunRow("after", "torture", "", 1, 0, "0")).close()
        except PitloggerError as error:
            return [f"cannot be opened: {error}"], 0.0
        faults = [f"taken for damaged: {path.name}" for path in target.glob("*.damaged-*")]
        held = held_in(database)
    faults += faults_of(held, run.ledger, cut_s)
    if missing := holes(held, run.sent, run.born_s, cut_s):
        faults.append(f"readings missing in the middle: {missing[:5]}")
    gone = min(gone_s(held, run.sent, run.born_s, cut_s), cut_s - run.born_s)
    if gone > GONE_BAR_S:
        faults.append(f"{gone:.1f} s of readings are gone")
    return faults, gone
