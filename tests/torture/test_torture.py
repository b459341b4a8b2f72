"""The fault bench in its small form, and that it would notice."""

from __future__ import annotations

import random
import subprocess
from pathlib import Path

import pytest

from pitlogger.store import Reader
from tests.torture.__main__ import benches, tortured
from tests.torture.broker_storm import broker_storm
from tests.torture.disks import ends_and_starts
from tests.torture.fire import fire
from tests.torture.kills import kills
from tests.torture.ledger import Held, Ledger, faults_of
from tests.torture.memory import memory
from tests.torture.node import PITLOGGER, node
from tests.torture.power import cut_at_random, power, recorded
from tests.torture.shim import COMPILER
from tests.torture.together import together

needs_compiler = pytest.mark.skipif(COMPILER is None, reason="no C compiler for the shim")


@pytest.mark.slow
def test_what_was_acknowledged_survives_kills(tmp_path: Path) -> None:
    assert kills(tmp_path, rounds=4, seed=7, longest_s=3.0).faults == []


@needs_compiler
@pytest.mark.slow
def test_what_was_acknowledged_survives_power_cuts(tmp_path: Path) -> None:
    assert power(tmp_path, cuts=25, seed=7, lasts_s=4.0).faults == []


@needs_compiler
@pytest.mark.slow
def test_a_disk_that_does_not_keep_what_it_synced_would_be_noticed(tmp_path: Path) -> None:
    run = recorded(tmp_path, seed=7, lasts_s=2.0)
    lying = [op for op in run.ops if op.op != "S"]
    faults, _ = cut_at_random(run, lying, 20, random.Random(7))
    assert faults


@needs_compiler
@pytest.mark.slow
def test_a_full_disk_is_told_of_and_hinders_neither_end_nor_start(tmp_path: Path) -> None:
    assert ends_and_starts(tmp_path / "full", seed=7).faults == []


@pytest.mark.slow
def test_a_broker_that_comes_and_goes_hears_everything_in_order(tmp_path: Path) -> None:
    assert [row.faults for row in broker_storm(tmp_path, gusts=4, seed=7)] in ([[]], [])


@pytest.mark.slow
def test_what_was_acknowledged_survives_memory_that_runs_out(tmp_path: Path) -> None:
    assert memory(tmp_path, times=1, seed=7).faults == []


@pytest.mark.slow
def test_alarms_come_in_time_under_fire(tmp_path: Path) -> None:
    assert fire(tmp_path, alarms=3, seed=7).faults == []


@needs_compiler
@pytest.mark.slow
def test_alarms_come_in_time_with_all_at_once(tmp_path: Path) -> None:
    assert together(tmp_path / "all", alarms=3, seed=7, pace_s=0.0).faults == []


@pytest.mark.slow
def test_a_second_run_on_a_record_says_who_holds_it_and_harms_nothing(tmp_path: Path) -> None:
    with node(tmp_path) as first:
        first.start()
        first.start_cook()
        command = [PITLOGGER, "run", "--config", str(first.config)]
        second = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
        assert second.returncode == 1
        assert first.process is not None
        assert f"in use by process {first.process.pid} since" in second.stderr
        assert first.process.poll() is None
        first.post("/notes", text="it goes on", key="k")
        first.stop()
        with Reader.open(first.database) as reader:
            assert len([run for run in reader.runs() if not run.version.startswith("paper")]) == 1


@pytest.mark.slow
@pytest.mark.parametrize("name", ["pitlogger.db", "phones.json", "drivers.json", "run-tags",
                                  "node-key.pem", "mqtt-position.json"])  # fmt: skip
@pytest.mark.parametrize("content", [b"", b"\xff\xfe{"])
def test_a_file_of_ours_that_is_empty_or_broken_keeps_nothing_from_starting(
    tmp_path: Path, name: str, content: bytes
) -> None:
    with node(tmp_path) as made:
        made.data.mkdir()
        (made.data / name).write_bytes(content)
        made.start()
        made.start_cook()
        assert made.post("/notes", text="alive", key="k")["seq"] > 0


def test_an_entry_that_is_gone_or_doubled_would_be_noticed() -> None:
    from collections import Counter

    held = Held([], Counter({"kept": 1, "twice": 2}), [1, 2, 2], {"r": [1, 3]}, 0)
    told = Ledger({"kept": 0.0, "twice": 0.0, "gone": 0.0})
    faults = "; ".join(faults_of(held, told))
    for fault in ("gone: gone", "2 times: twice", "readings kept twice: [2]", "entries [1, 3]"):
        assert fault in faults


@pytest.mark.nightly
def test_the_whole_bench_is_met(tmp_path: Path) -> None:
    seed = random.randrange(1 << 30)
    rows = tortured(benches(1000, 1000, 500, 60, seed, alarms=1000, flips=1000), seed)
    assert [(row.what, row.faults, row.seed) for row in rows if row.faults] == []
