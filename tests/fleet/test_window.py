"""The window: what waits for its receipt, and when it is sent again."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from pitlogger.uplink.position import Position, Progress
from pitlogger.uplink.window import LEAST_MS, MOST_MS, NEVER_MS, SIZE, SOON_MS, Window


def window(chance: float = 0.5) -> Window:
    return Window(lambda: chance)


def test_four_are_on_their_way_at_most() -> None:
    one = window()
    for number in range(SIZE):
        assert one.has_room
        one.sent(number, b"", 0)
    assert not one.has_room
    one.receipt(2, 10)
    assert one.has_room
    for number in range(SIZE):
        one.receipt(number, 20)
    assert one.next_due_ms() == NEVER_MS


def test_the_pause_doubles_up_to_ten_minutes() -> None:
    one, now_ms, pauses = window(), 0, []
    one.sent(1, b"", 0)
    for _ in range(9):
        due_ms = one.next_due_ms()
        pauses.append(due_ms - now_ms)
        now_ms = due_ms
        assert [found.number for found in one.due(now_ms)] == [1]
    assert pauses == [min(LEAST_MS * 2**at, MOST_MS) for at in range(9)]


def test_a_slow_hub_is_given_four_times_what_it_takes() -> None:
    one = window()
    one.sent(1, b"", 0)
    one.receipt(1, 15_000)
    one.sent(2, b"", 20_000)
    assert one.next_due_ms() == 20_000 + 4 * 15_000


def test_a_receipt_of_what_was_sent_twice_says_nothing_of_time() -> None:
    one = window()
    one.sent(1, b"", 0)
    one.due(LEAST_MS)
    assert one.receipt(1, LEAST_MS + 1)
    assert one.smoothed_ms is None
    assert not one.receipt(1, LEAST_MS + 2)


@given(st.floats(0, 1))
def test_what_is_sent_again_is_spread(chance: float) -> None:
    one = window(chance)
    one.sent(1, b"", 0)
    due_ms = one.next_due_ms()
    assert 0.875 * LEAST_MS <= due_ms <= 1.125 * LEAST_MS
    one.forgotten(1000)
    assert 1000 <= one.next_due_ms() <= 1000 + SOON_MS


@given(st.permutations(range(1, 7)))
def test_the_position_moves_over_what_is_received_without_a_hole(order: list[int]) -> None:
    progress = Progress(Position())
    for number in range(1, 7):
        progress.send(number, Position(span=number))
    done: set[int] = set()
    for number in order:
        progress.receive(number)
        done.add(number)
        whole = next(n for n in range(1, 8) if n not in done) - 1
        assert progress.received.span == whole
    assert progress.sent.span == 6
