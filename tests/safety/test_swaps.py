"""Plugs exchanged while one of the two was silent; readings that stand still despite noise."""

from __future__ import annotations

from random import Random

import pytest

from pitlogger.safety.instruments.belief import MINUTE_MS, DoubtReason
from pitlogger.safety.instruments.stillness import left_behind, still_spans
from pitlogger.safety.instruments.swaps import swaps
from tests.safety.building import line

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


def test_what_meat_does_by_itself_in_a_silence_is_no_exchange() -> None:
    def quick(minute: int) -> int:  # flat, two degrees a minute about its silence, flat again
        return 5_000 + 2_000 * min(max(minute - 80, 0), 60)

    warming = [(minute * MINUTE_MS, quick(minute)) for minute in range(200)]
    moved = [(at, 85_000 if at < 100 * MINUTE_MS else 43_000) for at, _ in warming]
    pieces = ["brisket-1", "brisket-2"]
    assert swaps([moved, silent(warming, 95, 121)], [[], []], pieces) == [[], []]
    slow = [(at, 43_000 if at < 108 * MINUTE_MS else 85_000) for at, _ in warming]
    assert any(swaps([moved, silent(slow, 95, 121)], [[], []], pieces))


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


FALLING = line((0, 203), (60, 170), (300, 140))
STANDS = line((0, 190), (60, 165), (300, 165))


def test_a_quiet_probe_that_stands_while_another_of_its_piece_falls_is_stuck() -> None:
    ((from_ms, to_ms),) = left_behind(STANDS, [FALLING])
    assert (from_ms, to_ms) == (60 * MINUTE_MS + 1, 300 * MINUTE_MS)
    assert left_behind(FALLING, [STANDS]) == []


@pytest.mark.parametrize(
    "others",
    [
        [],  # alone, food in a warm box stands still like a probe that is stuck
        [line((0, 200), (60, 150), (300, 150))],  # so does what stands beside it
        [
            line((0, 200), (60, 150), (300, 144))
        ],  # 3 K in four hours: one of the two is near the box
        [line((0, 40), (60, 150), (300, 180))],  # one in the stall, one that catches up
    ],
    ids=["alone", "both still", "hardly falling", "rising"],
)
def test_a_quiet_probe_may_stand_still_where_nothing_shows_that_its_meat_moves(
    others: list[list[tuple[int, int]]],
) -> None:
    assert left_behind(STANDS, others) == []


def test_a_display_of_whole_degrees_needs_more_to_be_left_behind() -> None:
    carried_over = [(m * MINUTE_MS, 95_000 - 556 * (m // 80)) for m in range(200)]
    beside = [(m * MINUTE_MS, 93_000 - 100 * m) for m in range(100)]
    assert left_behind(carried_over, [beside]) == []


def test_a_core_that_stands_over_a_dead_fire_is_stuck() -> None:
    core = line((0, 150), (60, 190), (300, 190))
    dead = line((0, 240), (90, 240), (120, 120), (300, 70))
    assert left_behind(core, [], dead) == [(60 * MINUTE_MS + 1, 300 * MINUTE_MS)]
    assert left_behind(core, [], line((0, 240), (250, 240), (300, 70))) == []
