"""The fault bench in its small form, and that it would notice."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.torture.__main__ import benches, tortured
from tests.torture.broker_storm import broker_storm
from tests.torture.disks import ends_and_starts
from tests.torture.kills import kills
from tests.torture.ledger import Held, Ledger, faults_of
from tests.torture.memory import memory
from tests.torture.power import cut_at_random, power, recorded
from tests.torture.shim import COMPILER

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
    rows = tortured(benches(1000, 1000, 500, 60, seed), seed)
    assert [(row.what, row.faults, row.seed) for row in rows if row.faults] == []
