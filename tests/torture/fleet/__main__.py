"""The torture of the fleet: is found what was sent, whatever is killed, cut off or set back?

    python -m tests.torture.fleet [--kills N] [--nodes N] [--seed N] [--only ID,...]

Prints a table and writes ``build/torture-fleet.json``; exit code 1 where a bar is not met.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections import Counter
from pathlib import Path
from random import Random

from tests.torture.fleet.faults import FAULTS
from tests.torture.fleet.stage import Stage
from tests.torture.row import Row
from tools.fleet.servers import stand_folder

SETTLE_EVERY = 10
VICTIMS = ("node", "node", "node", "ingester", "ingester", "broker", "database")


def kills(stage: Stage, times: int, seed: int) -> Row:
    """Kill one thing after another; after each look that nothing is there that was not sent."""
    counted: Counter[str] = Counter()
    said: list[str] = []
    for number in range(times):
        time.sleep(stage.rng.uniform(0.05, 1.0))
        what = stage.rng.choice(VICTIMS)
        counted[what] += 1
        _kill(stage, what)
        said += [f"kill {number + 1}, {what}: {fault}" for fault in stage.faults(all_of_it=False)]
        if (number + 1) % SETTLE_EVERY == 0:
            said += [f"after kill {number + 1}: {fault}" for fault in stage.settled()]
            print(f"  {number + 1} kills, {stage.sizes()}", flush=True)
    said += [f"at the end: {fault}" for fault in stage.settled()]
    shown = ", ".join(f"{count} of {what}" for what, count in sorted(counted.items()))
    return Row("kill", f"{times} kills -9", times, said, f"{shown}; {stage.sizes()}", seed)


def _kill(stage: Stage, what: str) -> None:
    if what == "node":
        node = stage.rng.choice(stage.nodes)
        node.kill()
        node.start()
    elif what == "ingester":
        one = stage.rng.choice(stage.hub.at_work)
        one.kill()
        one.start()
    elif what == "broker":
        stage.hub.broker.kill()
        stage.hub.start_broker()
    else:
        stage.server.process.kill()
        stage.server.start()


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.torture.fleet", description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--nodes", type=int, default=3)
    parser.add_argument("--seed", type=int, default=Random().randrange(1 << 30))
    parser.add_argument("--only", default="", help="ids, separated by commas")
    given = parser.parse_args()
    wanted = given.only.split(",") if given.only else ["kill", *FAULTS]
    print(f"seed {given.seed}", flush=True)
    began_s, rows = time.monotonic(), []
    with stand_folder() as folder:
        stage = Stage(folder, given.nodes, given.seed)
        try:
            for name in wanted:
                rows.append(_row(stage, name, given))
                verdict = "met" if not rows[-1].faults else "NOT MET"
                print(
                    f"{rows[-1].id:9} {rows[-1].what:58} {verdict:8} {rows[-1].shown}", flush=True
                )
                for fault in rows[-1].faults[:10]:
                    print(f"{'':10}{fault}", flush=True)
        finally:
            stage.end()
    print(f"{time.monotonic() - began_s:.0f} s, compared whole {stage.compared} times")
    Path("build").mkdir(exist_ok=True)
    Path("build/torture-fleet.json").write_text(
        json.dumps([row._asdict() for row in rows], indent=1), encoding="utf-8"
    )
    sys.exit(any(row.faults for row in rows))


def _row(stage: Stage, name: str, given: argparse.Namespace) -> Row:
    if name == "kill":
        return kills(stage, given.kills, given.seed)
    what, fault = FAULTS[name]
    try:
        faults, shown = fault(stage)
    except Exception as broke:  # the other faults are tried all the same
        faults, shown = [f"{type(broke).__name__}: {broke}"], ""
    return Row(name, what, 1, faults, shown, given.seed)


if __name__ == "__main__":
    main()
