"""Clocks: steps in mid-cook, both ways; reboots with and without a clock of one's own."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from pitlogger.store import Reader
from tests.torture.ledger import faults_of, held_in, writing
from tests.torture.node import Node, node, until
from tests.torture.row import Row
from tests.torture.shim import Shim

HOUR_MS = 3_600_000
YEAR_MS = 365 * 24 * HOUR_MS


def clocks(folder: Path, seed: int) -> list[Row]:
    """Return a row a thing that clocks do."""
    return [_steps(folder / "steps", seed), _reboots(folder / "reboots", seed)]


def _now_ms() -> int:
    return time.time_ns() // 1_000_000


def _steps(folder: Path, seed: int) -> Row:
    """Step the wall clock an hour and a year, both ways, in mid-cook."""
    folder.mkdir(parents=True)
    shim = Shim(folder, folder / "data")
    faults: list[str] = []
    with node(folder, shim) as stepped:
        stepped.start()
        stepped.start_cook()
        with writing(stepped, seed, pause_s=0.3) as writer:
            until("the board is heard", lambda: len(stepped.board.sent) > 20)
            for step_ms in (HOUR_MS, -HOUR_MS, YEAR_MS, 0):
                shim.set(wall_ms=step_ms)
                time.sleep(1.5)
                status = stepped.get("/status")
                shown_ms = _epoch_ms(status["now"])
                if abs(shown_ms - _now_ms() - step_ms) > 2_000:
                    faults.append(f"after a step to {step_ms} ms it shows {status['now']}")
                faults += [
                    f"alarm after a step: {row['alert']}"
                    for row in status["alerts"]
                    if row["class"] == "alarm"
                ]

        stepped.stop()
        held = held_in(stepped.database)
        faults += faults_of(held, writer.ledger)
        with Reader.open(stepped.database) as reader:
            steps = [row.offset_ms for row in reader.clocks()]
            run = reader.runs()[-1].run
            times = [row.t_ms for row in reader.readings(["count"], 0, 1 << 60, run=run)]
        if len(steps) < 4:
            faults.append(f"only {len(steps)} steps on record: {steps}")
        if times != sorted(times) or times[-1] - times[0] > 60_000:
            faults.append("engine time was moved by a step")
    return Row("clock", "steps of an hour and a year in mid-cook", 4, faults,
               f"{len(steps)} steps on record", seed)  # fmt: skip


def _reboots(folder: Path, seed: int) -> Row:
    """Reboot with the time known, with the time of 1970, and set the clock afterwards."""
    folder.mkdir(parents=True)
    shim = Shim(folder, folder / "data")
    faults: list[str] = []
    with node(folder, shim) as booted:
        booted.start()
        booted.start_cook()
        with writing(booted, seed, pause_s=0.5) as writer:
            until("the board is heard", lambda: len(booted.board.sent) > 20)
            booted.kill()
            shim.reboot("second-boot")
            shim.set(wall_ms=HOUR_MS)  # an hour without power, and a clock that went on
            booted.start()
            known = _start(booted, 2)
            if not (HOUR_MS - 10_000 < (known["gap_ms"] or 0) < HOUR_MS + 10_000):
                faults.append(f"an hour without power is taken for {known['gap_ms']} ms")
            faults += [f"clock-unset after {known}"] if _is_unset(booted) else []
            booted.kill()
            shim.reboot("third-boot")
            shim.set(wall_ms=-_now_ms())  # 1970: no clock of its own
            booted.start()
            unknown = _start(booted, 3)
            if unknown.get("gap_ms") is not None or unknown["utc_trusted"]:
                faults.append(f"without a clock the gap is taken for {unknown}")
            until("it is told that the time is not known", lambda: _is_unset(booted), 3.0)
            until("readings come", lambda: _ages(booted) < 2)
            born_ms = _now_ms() + HOUR_MS + YEAR_MS // 365
            shim.set(wall_ms=HOUR_MS + YEAR_MS // 365)  # the network told it: a day has passed
            until("it is told no longer", lambda: not _is_unset(booted), 3.0)
        booted.stop()
        faults += faults_of(held_in(booted.database), writer.ledger)
        faults += _unrepaired(booted, born_ms)
    return Row("clock", "reboots with a clock, without one, and set later", 2, faults,
               "gaps known, told as unknown, repaired", seed)  # fmt: skip


def _unrepaired(booted: Node, set_ms: int) -> list[str]:
    """Return what is wrong with the times of the last run once its clock is known."""
    with Reader.open(booted.database) as reader:
        run = reader.runs()[-1]
        rows = list(reader.readings(["count"], set_ms - 60_000, set_ms + 60_000))
        own = list(reader.readings(["count"], 0, 1 << 62, run=run.run))
    seen = sum(row.run == run.run for row in rows)
    if seen != len(own):
        return [f"{len(own) - seen} readings from before the clock was set lie at a wrong time"]
    return []


def _start(booted: Node, number: int) -> dict[str, Any]:
    """Return what was journalled of start ``number``, once it is on disk."""

    def starts() -> list[dict[str, Any]]:
        return [row for row in _journal(booted) if row["kind"] == "run-started"]

    until("the start is journalled", lambda: len(starts()) >= number)
    return starts()[number - 1]


def _journal(booted: Node) -> list[dict[str, Any]]:
    from pitlogger.formats.journal_json import dump_entry

    with Reader.open(booted.database) as reader:
        return [dump_entry(entry) for entry in reader.entries()]


def _is_unset(booted: Node) -> bool:
    active = ("unacknowledged", "acknowledged")
    return any(
        row["kind"] == "clock-unset" and row["state"] in active for row in booted.get("/alerts")
    )


def _ages(booted: Node) -> float:
    ages = [row["age_s"] for row in booted.get("/status")["channels"]]
    return min((age for age in ages if age is not None), default=1e9)


def _epoch_ms(text: str) -> int:
    from datetime import datetime

    return round(datetime.fromisoformat(text).timestamp() * 1000)
