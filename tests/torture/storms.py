"""Device storms: plugs pulled and pushed in, boards that babble; each is back, nothing leaks."""

from __future__ import annotations

import os
import time
from pathlib import Path
from random import Random

from tests.torture.ledger import faults_of, held_in, writing
from tests.torture.node import Node, node, until
from tests.torture.row import Row

BACK_S = 10.0
SPARE = 2  # descriptors and threads that may come with work, not with time


def storm(folder: Path, pulls: int, seed: int) -> Row:
    """Pull and push a plug ``pulls`` times; return how soon the board was read again."""
    dice = Random(seed)
    faults: list[str] = []
    with node(folder) as stormed:
        stormed.start()
        stormed.start_cook()
        with writing(stormed, seed, pause_s=0.5) as writer:
            until("the board is heard", lambda: _age_s(stormed) < 1)
            before = _kept(stormed)
            for number in range(pulls):
                stormed.board.pull()
                time.sleep(dice.choice((0.0, 0.02, 0.3)))
                stormed.board.plug_in()
                if dice.random() < 0.2:
                    stormed.board.babble(dice.randbytes(dice.randrange(3000)))
                if number % 5 == 4:
                    time.sleep(dice.uniform(0, 1.5))
            back_s = until("the board is back", lambda: _age_s(stormed) < 1, BACK_S)
            time.sleep(1.0)
            after = _kept(stormed)
        code, took_s = stormed.stop()
        faults += faults_of(held_in(stormed.database), writer.ledger)
    if code or took_s > 2:
        faults.append(f"ended with {code} after {took_s:.1f} s")
    for what, had, has in zip(("descriptors", "threads"), before, after, strict=True):
        if has > had + SPARE:
            faults.append(f"{what} grew from {had} to {has}")
    shown = f"back {back_s:.1f} s after the last; descriptors {before[0]} to {after[0]}"
    what = f"{pulls} plugs pulled, pushed in and babbling"
    return Row("devices", what, pulls, faults, shown, seed)


def _age_s(stormed: Node) -> float:
    ages = [row["age_s"] for row in stormed.get("/status")["channels"] if row["channel"] == "pit"]
    return min((age for age in ages if age is not None), default=1e9)


def _kept(stormed: Node) -> tuple[int, int]:
    assert stormed.process is not None
    own = Path(f"/proc/{stormed.process.pid}")
    return len(os.listdir(own / "fd")), len(os.listdir(own / "task"))
