"""Plugs exchanged while one of the two was silent; readings that stand still despite noise."""

from __future__ import annotations

from random import Random

import pytest

from pitlogger.safety.belief import MINUTE_MS, DoubtReason
from pitlogger.safety.stillness import still_spans
from pitlogger.safety.swaps import swaps

HOT = [(minute * MINUTE_MS, 15_000 + 220 * minute) for minute in range(400)]
COLD = [(minute * MINUTE_MS, 5_000 + 120 * minute) for minute in range(400)]


def exchanged(at_min: int) -> tuple[list[tuple[int, int]], list[tuple[int, int]]]:
    return (HOT[:at_min] + COLD[at_min:], COLD[:at_min] + HOT[at_min:])


def silent(points: list[tuple[int, int]], from_min: int, to_min: int) -> list[tuple[int, int]]:
    return [one for one in points if not from_min * MINUTE_MS < one[0] < to_min * MINUTE_MS]


@pytest.mark.parametrize("hole", [(0, 0), (80, 130), (60, 101)])
def test_an_exchange_is_noticed_also_where_one_of_the_two_was_silent(hole: tuple[int, int]) -> None:
    one, other = exchanged(100)
    found = swaps([one, silent(other, *hole)], [[], []], ["brisket-1", "brisket-2"])
    assert [[doubt.why for doubt in held] for held in found] == [[DoubtReason.SWAPPED]] * 2
    assert all(held[0].from_ms <= 101 * MINUTE_MS for held in found)


def test_a_silence_alone_is_no_exchange() -> None:
    pieces = ["brisket-1", "brisket-2"]
    assert swaps([HOT, silent(COLD, 80, 130)], [[], []], pieces) == [[], []]
    cold_of_a_sudden, _ = exchanged(100)  # the one alone was moved; the other goes on as before
    found = swaps([cold_of_a_sudden, silent(COLD, 80, 130)], [[], []], pieces)
    assert found == [[], []]


def test_a_slow_noisy_probe_that_stands_still_is_stuck_after_a_few_readings() -> None:
    random = Random(5)
    noisy = [(2 * n * MINUTE_MS, 60_000 + 100 * round(random.gauss(0, 3))) for n in range(150)]
    held = [((300 + 2 * n) * MINUTE_MS, noisy[-1][1]) for n in range(15)]
    assert still_spans(noisy) == []
    ((from_ms, to_ms),) = still_spans(noisy + held)
    assert (from_ms, to_ms) == (298 * MINUTE_MS + 1, 328 * MINUTE_MS)


def test_a_quiet_probe_may_stand_still_for_long() -> None:
    stall = [(n * MINUTE_MS, 68_000 + 100 * (n // 25)) for n in range(300)]
    assert still_spans(stall) == []
