"""Pointing at devices whose layout is drawn at random: never wrong and sure.

A judge that shares no code with the product sends temperatures the person never showed.
"""

from __future__ import annotations

import os
from collections import Counter
from random import Random

import pytest

from pitlogger.devices.pointing.finding import Finding, find
from pitlogger.errors import RefusedError
from tests.devices.drawn_devices import Drawn, draw, pointed

MANY = int(os.environ.get("POINTED", "300"))
HELD_OUT_C = (-15.0, -2.0, 5.0, 40.0, 63.0, 95.0, 107.0, 121.0, 135.0, 180.0, 250.0)


def judged(device: Drawn, found: Finding, mine: int) -> bool:
    """Return whether the first probe found reads what the device means, wherever it can."""
    for true_c in HELD_OUT_C:
        if not device.shows(true_c):
            continue
        shown: list[float | None] = [20.0] * len(device.at)
        shown[mine] = true_c
        value = found.best.value(device.frame(shown))
        step = device.scale / (1.8 if device.unit == "degF" else 1.0)
        if value is None or abs(value - true_c) > max(1.0, step):
            return False
    return True


def outcome(seed: int) -> tuple[str, Drawn, Finding | None]:
    """Point at one device and say what came of it."""
    device = draw(Random(seed))
    evidence, mine = pointed(device)
    found = find(evidence)
    if found is None:
        return "nothing", device, None
    is_right = judged(device, found, mine)
    return (
        f"{'right' if is_right else 'wrong'}, {'sure' if found.is_sure else 'not sure'}",
        device,
        found,
    )


@pytest.fixture(scope="module")
def outcomes() -> list[tuple[str, Drawn, Finding | None]]:
    """Point at many devices."""
    return [outcome(seed) for seed in range(MANY)]


def test_most_are_found_right_and_none_is_wrong_and_sure(
    outcomes: list[tuple[str, Drawn, Finding | None]],
) -> None:
    counts = Counter(said for said, _, _ in outcomes)
    print(dict(counts))
    assert not counts["wrong, sure"]
    right = counts["right, sure"] + counts["right, not sure"]
    assert right >= 0.95 * MANY
    assert counts["right, sure"] >= 0.7 * MANY


def test_four_bytes_are_sure_once_a_probe_was_unplugged(
    outcomes: list[tuple[str, Drawn, Finding | None]],
) -> None:
    said = Counter(said for said, device, _ in outcomes if device.kind == "i32")
    assert said["right, sure"] >= 0.85 * said.total()


def test_neighbours_are_offered_and_what_means_no_probe_is_found(
    outcomes: list[tuple[str, Drawn, Finding | None]],
) -> None:
    several = all_found = empty = 0
    for said, device, found in outcomes:
        if found is None or not said.startswith("right") or device.kind == "u8":
            continue
        places = {probe.candidate.place.at for probe in found.probes}  # type: ignore[attr-defined]
        several += 1
        all_found += places >= set(device.at)
        empty += bool(found.sentinels) or device.kind == "f32"
    assert all_found >= 0.95 * several
    assert empty >= 0.95 * several


def test_true_values_close_together_are_refused() -> None:
    device = draw(Random(1))
    evidence, _ = pointed(device)
    first, second = evidence.moments
    from dataclasses import replace

    near = replace(evidence, moments=(first, replace(second, reference=first.reference)))
    with pytest.raises(RefusedError, match="apart"):
        find(near)
    with pytest.raises(RefusedError, match="2 are needed"):
        find(replace(evidence, moments=(first,)))
