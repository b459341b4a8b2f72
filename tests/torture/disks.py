"""Disks that refuse or dawdle while a cook goes on: alarms go on, nothing is lost, it is told."""

from __future__ import annotations

import os
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.torture.ledger import faults_of, held_in, holes, writing
from tests.torture.node import Node, node, until
from tests.torture.row import Row
from tests.torture.shim import BROKEN, FULL, READ_ONLY, WELL, Shim

TOLD_S = 6.0  # readings wait 5 s at most for the commit that meets the fault
ALARM_S = 17.0  # channel-stale: 15 s of silence and a tick
HEALED_S = 15.0  # the writer tries again every 10 s at the latest
ENDS_S = 2.0
SLOW_MS = 3000
MODES = {"full": FULL, "broken": BROKEN, "read-only": READ_ONLY}

Spoil = Callable[[], None]


def disks(folder: Path, seed: int) -> list[Row]:
    """Return a row a fault of the disk."""
    rows = [_row(folder / name, name, mode, seed) for name, mode in MODES.items()]
    if (real := _really_full(folder / "tmpfs", seed)) is not None:
        rows.append(real)
    return [*rows, _slow(folder / "slow", seed), ends_and_starts(folder / "ends", seed)]


def _row(folder: Path, name: str, mode: int, seed: int) -> Row:
    folder.mkdir(parents=True)
    shim = Shim(folder, folder / "data")
    with node(folder, shim) as starved:
        shown, faults = _starved(
            starved, seed, lambda: shim.set(mode=mode), lambda: shim.set(mode=WELL)
        )
    return Row("disk", f"disk {name} in mid-cook", 1, faults, shown, seed)


def _starved(starved: Node, seed: int, spoil: Spoil, heal: Spoil) -> tuple[str, list[str]]:
    """Spoil the disk of a running node, let an alarm arise, heal it; return what was seen."""
    told: list[dict[str, Any]] = []
    faults: list[str] = []
    starved.start()
    born_s = time.monotonic()
    starved.start_cook()
    starved.listen(told)
    with writing(starved, seed, pause_s=0.4) as writer:
        until("the board is heard", lambda: len(starved.board.sent) > 20)
        spoil()
        told_s = until("it is told", lambda: "store-failing/node" in _kinds(starved), TOLD_S)
        starved.board.heard = False
        until("an alarm arises", lambda: "channel-stale/pit" in _kinds(starved), ALARM_S)
        until("it reaches who listens", lambda: _heard(told, "channel-stale"), 1.0)
        starved.board.heard = True
        heal()
        healed_s = until("it heals", lambda: not _fails(starved), HEALED_S)
    starved.stop()
    ended_s = time.monotonic()
    held = held_in(starved.database)
    faults += faults_of(held, writer.ledger)
    faults += [f"refused: {text}" for text in writer.refused]
    if held.lost:
        faults.append(f"{held.lost} readings given up")
    if missing := holes(held, starved.board.sent, born_s, ended_s):
        faults.append(f"readings missing: {missing[:5]}")
    return f"told after {told_s:.1f} s, written {healed_s:.1f} s after it healed", faults


def _kinds(starved: Node) -> set[str]:
    return {f"{row['kind']}/{row.get('channel') or 'node'}" for row in starved.get("/alerts")}


def _fails(starved: Node) -> bool:
    return starved.get("/status")["store"] is not None


def _heard(told: list[dict[str, Any]], kind: str) -> bool:
    return any(row.get("alert_kind") == kind and row["on_disk"] is False for row in told)


@contextmanager
def _small_disk(folder: Path) -> Iterator[bool]:
    """Mount a memory disk of 4 MB where that is allowed; yield whether it was."""
    folder.mkdir(parents=True)
    command = ["mount", "-t", "tmpfs", "-o", "size=4m", "torture", str(folder)]
    mounted = os.geteuid() == 0 and subprocess.run(command, check=False).returncode == 0
    try:
        yield mounted
    finally:
        if mounted:
            subprocess.run(["umount", "-l", str(folder)], check=True)


def _really_full(folder: Path, seed: int) -> Row | None:
    """Fill a real, small disk to its last byte; ``None`` where none can be mounted."""
    with _small_disk(folder / "data") as mounted:
        if not mounted:
            return None
        ballast = folder / "data" / "ballast"

        def fill() -> None:
            with ballast.open("wb", buffering=0) as file:
                try:
                    while True:
                        file.write(bytes(512))
                except OSError:
                    return

        with node(folder) as starved:
            shown, faults = _starved(starved, seed, fill, ballast.unlink)
    return Row("disk", "a real disk of 4 MB filled to the brim", 1, faults, shown, seed)


def _slow(folder: Path, seed: int) -> Row:
    """Let every sync take seconds: it is told, and an alarm does not wait for the disk."""
    folder.mkdir(parents=True)
    shim = Shim(folder, folder / "data")
    told: list[dict[str, Any]] = []
    with node(folder, shim) as slow:
        slow.start()
        slow.start_cook()
        slow.listen(told)
        with writing(slow, seed, pause_s=0.4) as writer:
            until("the board is heard", lambda: len(slow.board.sent) > 20)
            shim.set(sync_ms=SLOW_MS)
            until("it is told", lambda: "store-failing/node" in _kinds(slow), 15.0)
            slow.board.heard = False
            alarm_s = until("an alarm is told", lambda: _heard(told, "channel-stale"), ALARM_S)
            slow.board.heard = True
            shim.set(sync_ms=0)
            until("it heals", lambda: not _fails(slow), HEALED_S)
        slow.stop()
        faults = faults_of(held_in(slow.database), writer.ledger)
    what = f"every sync takes {SLOW_MS / 1000:g} s"
    return Row("disk", what, 1, faults, f"alarm told {alarm_s:.1f} s after silence", seed)


def ends_and_starts(folder: Path, seed: int) -> Row:
    """Tell a daemon to end while the disk is full, start it so, then make room."""
    folder.mkdir(parents=True)
    shim = Shim(folder, folder / "data")
    faults: list[str] = []
    with node(folder, shim) as full:
        full.start()
        full.start_cook()
        with writing(full, seed, pause_s=0.4) as writer:
            until("the board is heard", lambda: len(full.board.sent) > 20)
            shim.set(mode=FULL)
            until("it is told", lambda: "store-failing/node" in _kinds(full), TOLD_S)
            code, took_s = full.stop()
            if code or took_s > ENDS_S:
                faults.append(f"ended with {code} after {took_s:.1f} s")
            full.start()
            until("it is told again", lambda: "store-failing/node" in _kinds(full), TOLD_S)
            shim.set(mode=WELL)
            until("it heals", lambda: not _fails(full), HEALED_S)
        full.stop()
        faults += faults_of(held_in(full.database), writer.ledger)
        faults += [f"refused: {text}" for text in writer.refused]
    return Row("disk", "told to end, and started, on a full disk", 1, faults,
               f"ended after {took_s:.1f} s", seed)  # fmt: skip
