"""``kill -9`` at random moments: what was acknowledged is there, once; the file is sound."""

from __future__ import annotations

import random
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from pitlogger.store import Reader, Store
from tests.store.conftest import START_MS, WAIT_S, reading

PROGRAM = Path(__file__).with_name("killed_writer.py")
RUN_APART_MS = 86_400_000


def killed(path: Path, run: str, start_ms: int, after: int, delay_s: float) -> tuple[int, int]:
    """Run the writer, kill it ``delay_s`` after its acknowledgement number ``after``.

    Returns:
        The last entry acknowledged and the readings handed over before it.
    """
    command = [sys.executable, str(PROGRAM), str(path), run, str(start_ms)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        lines = [process.stdout.readline() for _ in range(after)]
        timer = threading.Timer(delay_s, process.kill)
        timer.start()
        lines += process.stdout.readlines()  # ends with the process
        timer.join()
    whole = [line for line in lines if line.endswith("\n")]
    seq, handed = whole[-1].split() if whole else ("0", "0")
    return int(seq), int(handed)


def check(reader: Reader, run: str, start_ms: int, seq: int, handed: int) -> None:
    """Check that a run holds what was acknowledged, nothing twice, and nothing made up."""
    entries = reader.entries(run=run)
    assert [entry.seq for entry in entries] == list(range(1, len(entries) + 1))
    assert len(entries) in (seq, seq + 1)  # the last may be on disk before it was told
    found = [row.value for row in reader.readings(None, start_ms, start_ms + RUN_APART_MS, run)]
    assert found == list(range(len(found)))
    assert len(found) >= handed


def torture(folder: Path, rounds: int, seed: int) -> None:
    dice = random.Random(seed)
    path = folder / "pit.db"
    told: list[tuple[str, int, int, int]] = []
    for number in range(rounds):
        start_ms = START_MS + number * RUN_APART_MS
        after, delay_s = dice.randrange(30), dice.random() / 20
        seq, handed = killed(path, f"run-{number}", start_ms, after, delay_s)
        told.append((f"run-{number}", start_ms, seq, handed))
        with Reader.open(path) as reader:
            for row in told[-2:]:  # as left, and as taken over by the next
                check(reader, *row)
            assert reader.facts()["sound"] is True, f"seed {seed}, round {number}"
    with Reader.open(path) as reader:
        for row in told:
            check(reader, *row)


@pytest.mark.slow
def test_nothing_acknowledged_is_lost_or_doubled_by_kill(tmp_path: Path) -> None:
    torture(tmp_path, rounds=6, seed=11)


@pytest.mark.nightly
def test_nothing_acknowledged_is_lost_or_doubled_by_many_kills(tmp_path: Path) -> None:
    torture(tmp_path, rounds=150, seed=random.randrange(1 << 30))


def test_readings_nobody_waits_for_are_written_when_their_batch_is_due(
    opened: Callable[..., Store],
) -> None:
    store = opened(batch_s=0.02)
    written = threading.Event()
    commit = threading.Event()
    store.flush().result(WAIT_S)
    sink = store._writer._sink
    assert sink is not None
    sink.connection.set_trace_callback(
        lambda statement: (
            written.set()
            if statement.startswith("INSERT INTO tail")
            else commit.set()
            if written.is_set() and statement == "COMMIT"
            else None
        )
    )
    store.add_readings([reading(1)])
    assert commit.wait(WAIT_S)
    with store.reader() as reader:
        store.flush().result(WAIT_S)
        assert len(list(reader.readings(None, 0, 1 << 60))) == 1
