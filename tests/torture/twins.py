"""Two nodes are told and sent the same; one is killed again and again. They must agree."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

from pitlogger.model.journal import AlertChanged
from pitlogger.store import Reader
from tests.torture.node import Node, node, until
from tests.torture.row import Row

APART_S = 2.0  # conditions are judged each second, and a start may fall between two
WRAP_S = 90.0  # wrap-due waits for 30 s; a crowded machine is slow to read
WRAP_MC = 30_000
OWN = ("channel-stale", "device-lost", "check-overdue", "store-failing")  # of a life, not a cook


def twins(folder: Path, seed: int) -> Row:
    """Kill one of two equal nodes while a delay runs, an alert waits and one is shelved."""
    dice = Random(seed)
    with node(folder / "spared") as spared, node(folder / "killed") as killed:
        both = (spared, killed)

        def kill() -> None:
            time.sleep(dice.uniform(0.2, 2))
            killed.kill()
            time.sleep(dice.uniform(0, 1.5))
            killed.start()

        _do(both, lambda each: each.start())
        _do(both, lambda each: each.start_cook())
        _do(both, lambda each: each.post(
            "/weighings", piece="brisket-1", checkpoint="purchased", mass="6.4 kg"))  # fmt: skip
        _do(both, lambda each: each.post("/stages", piece="brisket-1", stage="smoking"))
        kill()
        for each in both:
            each.board.core_c = 31.0
        for _ in range(3):  # in the middle of the 30 s that wrap-due waits
            time.sleep(3.0)
            kill()
        for each in both:
            until("wrap-due", lambda each=each: "wrap-due" in _kinds(each), WRAP_S)
        kill()
        _do(both, lambda each: each.post("/alerts/wrap-due/brisket-1/acknowledge", by="AB"))
        kill()
        _do(both, lambda each: each.post("/stages", piece="brisket-1", stage="wrapped"))
        kill()
        told = [_as_told(each) for each in both]
        _do(both, lambda each: each.stop())
    delays = [_delay_s(each) for each in both]
    faults = [] if told[0] == told[1] else [f"spared: {told[0]}", f"killed: {told[1]}"]
    if abs(delays[0] - delays[1]) > APART_S:
        faults.append(f"wrap-due waited {delays[0]:.1f} s, and {delays[1]:.1f} s where killed")
    shown = f"wrap-due waited {delays[0]:.1f} s, {delays[1]:.1f} s where killed; all else equal"
    return Row("twins", "killed and restarted against never killed", 7, faults, shown, seed)


def _do(both: tuple[Node, Node], what: Callable[[Node], Any]) -> None:
    for each in both:
        what(each)


def _kinds(each: Node) -> set[str]:
    return {row["kind"] for row in each.get("/alerts")}


def _delay_s(each: Node) -> float:
    """Return how long wrap-due waited after the first reading that called for it."""
    with Reader.open(each.database) as reader:
        called_ms = min(
            row.t_ms
            for run in reader.runs()
            for row in reader.readings(["brisket-1/core"], 0, 1 << 60, run=run.run)
            if row.value is not None and row.value >= WRAP_MC
        )
        entries = reader.entries(kinds=["alert-changed"])
    raised_ms = next(
        entry.t_ms
        for entry in entries
        if isinstance(entry.body, AlertChanged) and entry.body.alert_kind == "wrap-due"
    )
    return (raised_ms - called_ms) / 1000


def _as_told(each: Node) -> dict[str, Any]:
    """Return how things stand, without what belongs to a process's own life."""
    status = each.get("/status")
    return {
        "pieces": [
            (piece["piece"], piece["stage"], [row["net_g"] for row in piece["weighings"]])
            for piece in status["pieces"]
        ],
        "alerts": sorted(
            (row["alert"], row["state"], row["priority"])
            for row in status["alerts"]
            if row["kind"] not in OWN
        ),
    }
