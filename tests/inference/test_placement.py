"""Where a probe without a place seems to be, from minutes of what it read."""

from __future__ import annotations

import math

import pytest

from pitlogger.inference.placement import placement

MINUTES = range(8)
PIT_C = 118.0
# What it reads a minute each, and what the pit reads.
CASES = {
    "raw meat from the cold store": ([4.0 + 0.02 * m for m in MINUTES], PIT_C, "meat"),
    "raw meat before the fire": ([3.5] * 8, None, "meat"),
    "a core on the pit": ([41.0 + 0.3 * m for m in MINUTES], PIT_C, "meat"),
    "air of the pit": ([112.0 + 3.0 * math.sin(m) for m in MINUTES], PIT_C, "pit"),
    "lying about": ([22.0] * 8, PIT_C, "room"),
    "a coffee cup": ([70.0 * 0.99**m for m in MINUTES], PIT_C, "cooling"),
    "a coffee cup just poured": ([22.0, 22.0, 60.0, 71.0, 70.0, 69.3], PIT_C, "moving"),
    "cooked meat at rest": ([88.0 - 0.4 * m for m in MINUTES], PIT_C, "cooling"),
    "a warm hand": ([22.0, 26.0, 30.0, 32.0, 33.0], PIT_C, "moving"),
    "into the pit": ([22.0, 60.0, 90.0, 103.0], PIT_C, "moving"),
    "too little heard": ([4.0, 4.0], PIT_C, "unknown"),
    "nothing heard": ([], None, "unknown"),
}


@pytest.mark.parametrize("name", CASES)
def test_a_probe_seems_to_be_where_it_is(name: str) -> None:
    levels_c, pit_c, where = CASES[name]
    assert placement(levels_c, pit_c) == where


@pytest.mark.parametrize("cup_c", [95.0, 80.0, 60.0, 45.0])
def test_no_cup_that_cools_is_ever_meat(cup_c: float) -> None:
    levels_c = [22.0 + (cup_c - 22.0) * math.exp(-m / 40) for m in range(40)]
    found = {placement(levels_c[: n + 1], PIT_C) for n in range(40)}
    assert "meat" not in found
