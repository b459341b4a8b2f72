"""``kill -9`` at random moments of the daemon's life, its start among them."""

from __future__ import annotations

import time
from pathlib import Path
from random import Random

from tests.torture.ledger import Held, faults_of, gone_s, held_in, holes, writing
from tests.torture.node import Node, crowding, node
from tests.torture.row import Row

GONE_BAR_S = 5.0
IN_START = 0.15  # part of the kills that fall into the first second and a half
DEVICE_OPENS_S = 3.0
NEWEST = 3  # runs whose readings are compared after each kill; those of all at the end


def kills(
    folder: Path, rounds: int, seed: int, pause_s: float = 0.7, longest_s: float = 7.0
) -> Row:
    """Kill a daemon ``rounds`` times; return what the record says of it.

    Args:
        pause_s: Mean time between two requests. An entry takes waiting readings to disk with
            it, so that only a quiet node shows how many can be lost.
        longest_s: Longest life.
    """
    dice = Random(seed)
    faults: list[str] = []
    worst_gone_s = 0.0
    with node(folder) as tortured:
        tortured.start()
        tortured.start_cook()
        with writing(tortured, seed, pause_s) as writer:
            for number in range(rounds):
                born_s, killed_s = _one_life(tortured, dice, longest_s, first=number == 0)
                held = held_in(tortured.database, newest=NEWEST)
                found = faults_of(held, writer.ledger, killed_s)
                gone, missing = _readings(held, tortured, born_s, killed_s)
                worst_gone_s = max(worst_gone_s, gone)
                faults += [f"kill {number}: {fault}" for fault in (*found, *missing)]
                tortured.start(ready=False)
            tortured.wait_ready()
        tortured.stop()
        faults += faults_of(held_in(tortured.database), writer.ledger)
        faults += [f"refused: {text}" for text in writer.refused]
        told = len(writer.ledger.told)
    shown = f"{told} entries acknowledged; at most {worst_gone_s:.1f} s of readings gone"
    return Row("kill", f"{rounds} times kill -9", rounds, faults, shown, seed)


def _one_life(
    tortured: Node, dice: Random, longest_s: float, first: bool
) -> tuple[float | None, float]:
    """Let the daemon live for a while and kill it; return when it was ready and killed."""
    if not first and dice.random() < IN_START:
        time.sleep(dice.uniform(0, 1.5))
        return None, tortured.kill()
    tortured.wait_ready()
    born_s = time.monotonic()
    time.sleep(dice.uniform(0, longest_s) ** 2 / longest_s)
    return born_s, tortured.kill()


def _readings(
    held: Held, tortured: Node, born_s: float | None, killed_s: float
) -> tuple[float, list[str]]:
    """Return how many seconds of readings are gone, and what is wrong about that."""
    if born_s is None:
        return 0.0, []
    sent = tortured.board.sent
    gone = gone_s(held, sent, born_s, killed_s)
    faults = []
    if missing := holes(held, sent, born_s, killed_s):
        faults.append(f"readings missing in the middle: {missing[:5]}")
    slow = crowding()  # a starved process reads late what was sent in time
    if killed_s - born_s > slow * (GONE_BAR_S + DEVICE_OPENS_S) and gone > slow * GONE_BAR_S:
        faults.append(f"{gone:.2f} s of readings are gone")
    return min(gone, killed_s - born_s), faults
