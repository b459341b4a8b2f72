"""All at once: under fire, with a fault of disk, power, board or process before each alarm.

An alarm a minute, as in life, or closer together: ``pace_s``. Somebody writes notes and
weighings with keys meanwhile; at the end each acknowledged one is looked for.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from random import Random

from tests.torture.fire import LATE_S, alarm, p99, under_fire
from tests.torture.kills import DEVICE_OPENS_S
from tests.torture.ledger import faults_of, held_in, writing
from tests.torture.node import Node, crowding
from tests.torture.row import Row
from tests.torture.shim import FULL, READ_ONLY, WELL, Shim

SLOW_MS = 1500
Fault = Callable[[Node, Shim, Random], None]


def _killed(made: Node, shim: Shim, dice: Random) -> None:
    made.kill()
    made.start()


def _full(made: Node, shim: Shim, dice: Random) -> None:
    shim.set(mode=FULL)


def _read_only(made: Node, shim: Shim, dice: Random) -> None:
    shim.set(mode=READ_ONLY)


def _slow(made: Node, shim: Shim, dice: Random) -> None:
    shim.set(sync_ms=SLOW_MS)


def _pulled(made: Node, shim: Shim, dice: Random) -> None:
    made.board.pull()
    made.board.plug_in()


def _babbled(made: Node, shim: Shim, dice: Random) -> None:
    for _ in range(20):
        made.board.babble(dice.randbytes(40))


def _ended(made: Node, shim: Shim, dice: Random) -> None:
    made.stop()
    made.start()


FAULTS: tuple[Fault, ...] = (_killed, _full, _read_only, _slow, _pulled, _babbled, _ended)


def together(folder: Path, alarms: int, seed: int, pace_s: float = 60.0) -> Row:
    """Return how alarms and entries fared with everything at once."""
    dice, faults, delays_s = Random(seed), [], []
    met: Counter[str] = Counter()
    folder.mkdir(parents=True)
    shim = Shim(folder, folder / "node" / "data")
    with under_fire(folder, seed, shim) as (made, heard):
        with writing(made, seed, pause_s=0.7) as writer:
            for number in range(1, alarms + 1):
                began_s = time.monotonic()
                strikes = dice.choice(FAULTS)
                strikes(made, shim, dice)
                met[strikes.__name__.lstrip("_")] += 1
                delay_s, bar_s = alarm(made, heard, number), LATE_S + DEVICE_OPENS_S
                delays_s.append(delay_s)
                if delay_s > bar_s and delay_s > bar_s * crowding():
                    faults.append(f"alarm {number} after {strikes.__name__}: {delay_s:.1f} s")
                shim.set(mode=WELL, sync_ms=0)
                time.sleep(max(0.0, pace_s - (time.monotonic() - began_s)))
        made.stop()
        held = held_in(made.database)
        cried = sum(kind == "raised" for _, kind in heard)
    faults += faults_of(held, writer.ledger)
    if cried != alarms:
        faults.append(f"{cried} messages of {alarms} alarms")
    told = ", ".join(f"{count} {name}" for name, count in sorted(met.items()))
    shown = f"p99 {p99(delays_s):.1f} s, {len(writer.ledger.told)} entries acknowledged; {told}"
    return Row("together", f"{alarms} alarms with all at once", alarms, faults, shown, seed)
