"""A hand reading that contradicts a probe takes its credit away, back to where one agreed."""

from __future__ import annotations

from pitlogger.model.cooks import Stage
from pitlogger.safety.instruments.belief import (
    MINUTE_MS,
    DoubtReason,
    Setting,
    doubts,
    rate_mc_per_min,
)

POINTS = [(minute * MINUTE_MS, 20_000 + 150 * minute) for minute in range(300)]


def setting(*hand: tuple[int, int]) -> Setting:
    return Setting(lambda t_ms: Stage.SMOKING, rate_mc_per_min("brisket", None), hand=hand)


def at(minute: int, apart_mc: int) -> tuple[int, int]:
    return minute * MINUTE_MS, 20_000 + 150 * minute + apart_mc


def test_without_a_contradiction_it_is_believed() -> None:
    assert doubts(POINTS, setting()) == []
    assert doubts(POINTS, setting(at(200, 2_000))) == []


def test_two_spots_of_one_piece_may_lie_apart() -> None:
    assert doubts(POINTS, setting(at(200, 11_000))) == []
    assert doubts(POINTS, setting(at(200, -11_000))) == []


def test_a_contradiction_takes_away_all_since_nobody_knows_when_it_was_moved() -> None:
    for apart_mc in (25_000, -16_000):
        (found,) = doubts(POINTS, setting(at(200, apart_mc)))
        assert found.why is DoubtReason.HAND
        assert (found.from_ms, found.to_ms) == (0, 299 * MINUTE_MS)


def test_what_a_hand_reading_agreed_with_before_stays() -> None:
    (found,) = doubts(POINTS, setting(at(100, 1_000), at(200, 25_000)))
    assert (found.from_ms, found.to_ms) == (100 * MINUTE_MS, 299 * MINUTE_MS)


def test_it_is_believed_again_from_where_a_hand_reading_agrees() -> None:
    (found,) = doubts(POINTS, setting(at(100, 1_000), at(150, 25_000), at(200, 500)))
    assert (found.from_ms, found.to_ms) == (100 * MINUTE_MS, 200 * MINUTE_MS - 1)


def test_a_hand_reading_while_the_probe_was_silent_contradicts_nothing() -> None:
    assert doubts(POINTS, setting((400 * MINUTE_MS, 90_000))) == []
