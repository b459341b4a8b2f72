"""The table of budgets: measured now, on this machine.

    python -m tests.benchmarks [group ...]     groups: engine process latency fire store yields
                                               decoders forecast plant page phone scale
                                               code;
                                               all by default

Prints a table and writes ``build/bench.json``, a list of
``{"id", "value", "unit", "yardstick", "ratio", "budget", "met"}``. A row without a budget is
shown for what it is.
"""

from __future__ import annotations

import json
import platform
import sqlite3
import sys
from importlib import import_module
from pathlib import Path
from typing import Any

GROUPS = (
    "engine",
    "process",
    "latency",
    "fire",
    "store",
    "yields",
    "decoders",
    "forecast",
    "plant",
    "page",
    "phone",
    "scale",
    "code",
)
# id: (budget, goal, whether more is better). Ratios are held against ratios.
BUDGETS: dict[str, tuple[float, float, bool]] = {
    "ingest": (0.18, 0.3, True),
    "replay": (6, 3.5, False),
    "ingest-recognising": (0.95, 1.0, True),
    "replay-recognising": (1.05, 1.0, False),
    "live-cpu": (1, 0.5, False),
    "live-rss": (90, 60, False),
    "byte-to-engine": (10, 5, False),
    "latency": (10, 3, False),
    "alarm-under-fire": (5, 1, False),
    "disk-size": (2.2, 1.5, False),
    "disk-write": (8, 5, False),
    "chart": (40, 20, False),
    "chart-growth": (1.15, 1.05, False),
    "start": (10, 7, False),
    "start-daemon": (1.5, 0.8, False),
    "simulate": (0.4, 0.1, False),
    "simulate-batch": (5, 2, False),
    "forecast": (1, 0.5, False),
    "forecast-full": (40, 15, False),
    "page": (50, 40, False),
    "phone-sentence-fast": (800, 500, False),
    "phone-sentence-slow": (2000, 1200, False),
    "phone-chart-fast": (3000, 2000, False),
    "phone-chart-slow": (8000, 5000, False),
    "phone-pan": (8, 4, False),
    "phone-nodes": (20, 0, False),
    "code": (50_000, 45_000, False),
}
OUT = Path("build/bench.json")


def judged(row: Any) -> dict[str, Any]:
    """Return a row with its budget and whether it is met."""
    held = row if isinstance(row, dict) else row._asdict()
    document = {
        "id": held["id"],
        "value": held["value"],
        "unit": held["unit"],
        "yardstick": held.get("yardstick", ""),
        "ratio": held.get("ratio"),
        "budget": None,
        "met": None,
    }
    if held["id"] in BUDGETS:
        budget, goal, more = BUDGETS[held["id"]]
        figure = document["value"] if document["ratio"] is None else document["ratio"]
        document["budget"] = budget
        document["goal"] = goal
        document["met"] = figure >= budget if more else figure <= budget
    return document


def shown(document: dict[str, Any]) -> str:
    """Return one line of the table."""
    ratio = "" if document["ratio"] is None else f"ratio {document['ratio']:.3f}"
    verdict = {True: "met", False: "NOT MET", None: ""}[document["met"]]
    budget = "" if document["budget"] is None else f"{document['budget']:g} / {document['goal']:g}"
    return (
        f"{document['id']:24} {document['value']:14.4g} {document['unit']:16} {ratio:14} "
        f"{budget:12} {verdict}"
    )


def main(groups: list[str]) -> None:
    """Measure and print."""
    print(f"{_processor()}, Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}")
    print(f"{'row':24} {'value':>14} {'unit':16} {'':14} budget / goal")
    rows = []
    for group in groups or GROUPS:
        for row in import_module(f"tests.benchmarks.{group}").rows():
            rows.append(judged(row))
            print(shown(rows[-1]), flush=True)
    OUT.parent.mkdir(exist_ok=True)
    OUT.write_text(json.dumps(rows, indent=1), encoding="utf-8")


def _processor() -> str:
    for line in Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines():
        if line.startswith("model name"):
            return line.partition(":")[2].strip()
    return platform.machine()


if __name__ == "__main__":
    main(sys.argv[1:])
