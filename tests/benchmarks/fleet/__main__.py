"""The budgets of the fleet: measured now, on this machine.

    python -m tests.benchmarks.fleet [--pits N] [--minutes N] [--storm N] [--away N] [--only ID,...]

Prints a table and writes ``build/bench-fleet.json`` in the form of ``build/bench.json``.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.benchmarks import __main__ as table
from tests.benchmarks.fleet import alerts, ingest, node, questions, work
from tests.benchmarks.row import Row
from tools.fleet.servers import Postgres, stand_folder

OUT = Path("build/bench-fleet.json")
THROUGH = 3_000  # bundles at once
table.BUDGETS |= {
    "fleet-ingest": (0.40, 0.60, True),
    "fleet-ingest-again": (0.30, 0.50, True),
    "fleet-disk": (2.2, 1.5, False),
    "fleet-node-https": (6, 6, False),
    "fleet-node-mqtt": (1, 1, False),
    "fleet-through": (0.5, 0.7, True),
    "fleet-alert-p99": (150, 50, False),
    "fleet-alert-50-away-p99": (1000, 1000, False),
    "fleet-storm-9000": (1.6, 1.1, False),
    "fleet-away-1": (60, 10, False),
    "fleet-away-50": (120, 20, False),
    "fleet-question-now": (50, 5, False),
    "fleet-question-exceptions": (100, 20, False),
    "fleet-question-yields": (200, 20, False),
    "fleet-question-chart": (60, 30, False),
    "fleet-pace-10000-10min-lost": (0, 0, False),
}


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.fleet", description=__doc__)
    parser.add_argument("--pits", type=int, default=10_000)
    parser.add_argument("--minutes", type=int, default=10)
    parser.add_argument("--storm", type=int, default=9_000)
    parser.add_argument("--away", type=int, default=50)
    parser.add_argument("--limit", type=float, default=600.0, help="seconds for one row")
    parser.add_argument("--only", default="ingest,node,through,questions,alerts,away,storm,pace")
    given = parser.parse_args()
    wanted = given.only.split(",")
    found = []
    with stand_folder() as folder:
        server = Postgres(folder / "pg")
        server.start()
        try:
            for row in _rows(server, folder, given, wanted):
                found.append(table.judged(row))
                print(table.shown(found[-1]), flush=True)
        finally:
            server.stop()
    OUT.parent.mkdir(exist_ok=True)
    OUT.write_text(json.dumps(found, indent=1), encoding="utf-8")


def _rows(
    server: Postgres, folder: Path, given: argparse.Namespace, wanted: list[str]
) -> Iterator[Row]:
    ingest_rate = float("nan")
    if "ingest" in wanted or "through" in wanted:
        for row in ingest.rows(server):
            ingest_rate = row.value if row.id == "fleet-ingest" else ingest_rate
            yield row
    if "questions" in wanted:
        yield from questions.rows(server)
    at_work: dict[str, Callable[[work.Work], Iterator[Row]]] = {
        # First: on tables as small as those of ``ingest``, which it is compared with; later the
        # server also tidies up what the other rows have written, and that would be counted.
        "through": lambda hub: alerts.through(hub, THROUGH, given.limit),
        "node": node.node,
        "away": lambda hub: work.away(hub, 1, given.limit),
        "many-away": lambda hub: work.away(hub, given.away, given.limit),
        "alerts": lambda hub: alerts.alerts(hub, given.away, given.limit),
        "storm": lambda hub: work.storm(hub, given.storm, given.limit),
        "pace": lambda hub: work.pace(hub, given.pits, given.minutes),
    }
    chosen = [made for name, made in at_work.items() if name.removeprefix("many-") in wanted]
    if not chosen:
        return
    hub = work.Work(server, folder, ingest_rate)
    try:
        for made in chosen:
            yield from made(hub)
    finally:
        hub.hub.stop()


if __name__ == "__main__":
    main()
