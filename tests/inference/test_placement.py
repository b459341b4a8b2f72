"""Where a probe without a place seems to be, from minutes of what it read."""

from __future__ import annotations

import math

import pytest

from pitlogger.inference.placement import placement, thin_part
from pitlogger_simulators.plant.cuts import PieceSpec
from pitlogger_simulators.plant.live import LiveSmoker
from pitlogger_simulators.plant.pits import Pit

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


def warmed(spec: PieceSpec, pit_c: float) -> list[float]:
    """Return what a core reads in its first four hours on the plant, a minute each."""
    smoker = LiveSmoker(3, room_c=18.0)
    smoker.add_pit("pit", Pit(kind="gas", set_c=pit_c))
    smoker.advance(3600.0)
    smoker.put_on("piece", spec, pit="pit")
    levels_c = []
    for _ in range(240):
        smoker.advance(60.0)
        levels_c.append(smoker.core_c("piece"))
    return levels_c


@pytest.mark.parametrize("pit_c", [110.0, 135.0])
@pytest.mark.parametrize(
    ("spec", "is_thin"),
    [
        (PieceSpec("brisket-packer", mass_g=4600), False),
        (PieceSpec("pork-butt", mass_g=3400), False),
        (PieceSpec("brisket-flat", mass_g=1300, thickness_mm=30), True),
        (PieceSpec("brisket-packer", mass_g=5200, thickness_mm=34), True),
    ],
)
def test_a_thin_end_warms_faster_than_a_thick_part(
    spec: PieceSpec, is_thin: bool, pit_c: float
) -> None:
    levels_c = warmed(spec, pit_c)
    told = [thin_part(levels_c[:n], pit_c) for n in range(20, 240)]
    sure = [one for one in told if one is not None]
    assert len(sure) > 15
    assert sorted(sure)[len(sure) // 2] > 0.7 if is_thin else max(sure) < 0.4
    assert min(sure) > 0.3 if is_thin else True  # never offered as the other


def test_neither_is_told_of_what_does_not_warm() -> None:
    assert thin_part([22.0] * 30, PIT_C) is None
    assert thin_part([20.0 + 0.3 * m for m in range(30)], None) is None
    assert thin_part([72.0 + 0.02 * m for m in range(30)], PIT_C) is None
    assert thin_part([20.0, 20.3], PIT_C) is None
