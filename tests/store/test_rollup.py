"""Rolled-up minutes are the minimum, maximum and mean of the good readings."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from pitlogger.store.packing import Columns
from pitlogger.store.rollup import minutes
from pitlogger.store.spans import blocks, ripe

OPEN = 1  # state byte of a reading with quality "open" and a value


def columns(times_ms: list[int], values: list[int], state: bytes | None = None) -> Columns:
    return Columns(times_ms, values, [0] * len(values), state or bytes(len(values)))


@given(
    st.lists(
        st.tuples(st.integers(0, 300_000), st.integers(-(10**6), 10**6)), min_size=1, max_size=80
    )
)
def test_a_minute_and_its_parts_say_what_its_readings_say(rows: list[tuple[int, int]]) -> None:
    rows.sort(key=lambda row: row[0])
    found: list[tuple[Any, ...]] = list(
        minutes(columns([t_ms for t_ms, _ in rows], [value for _, value in rows]))
    )
    for t_ms, n, mean, low, high, *parts in found:
        values = [value for at, value in rows if t_ms <= at < t_ms + 60_000]
        assert (n, mean - low, mean + high) == (len(values), min(values), max(values))
        assert abs(mean - sum(values) / n) <= 0.5
        for part in range(6):
            start = t_ms + part * 10_000
            inside = [value for at, value in rows if start <= at < start + 10_000]
            part_n, part_mean, part_low, part_high = parts[4 * part : 4 * part + 4]
            if not inside:
                assert (part_n, part_mean) == (0, None)
                continue
            assert (n // 6 if part_n is None else part_n) == len(inside)
            assert mean - low + part_low == min(inside)
            assert mean + high - part_high == max(inside)
            assert abs(mean + part_mean - sum(inside) / len(inside)) <= 0.5


def test_doubtful_readings_are_left_out() -> None:
    found = minutes(columns([0, 1000, 2000], [10, 99, 20], bytes((0, OPEN, 0))))
    assert found[0][1:5] == (2, 15, 5, 5)


def test_a_minute_of_doubtful_readings_has_no_row() -> None:
    assert minutes(columns([0, 1000], [1, 2], bytes((OPEN, OPEN)))) == []


def test_a_value_too_great_for_the_database_is_clipped() -> None:
    assert minutes(columns([0], [10**30]))[0][2] == 1 << 60


@given(st.lists(st.integers(0, 5_000_000), min_size=1))
def test_blocks_hold_every_reading_once_in_order_of_time(times_ms: list[int]) -> None:
    found = blocks(columns(times_ms, list(range(len(times_ms)))))
    assert [t for _, part in found for t in part.t_ms] == sorted(times_ms)
    assert all(block_ms <= t < block_ms + 600_000 for block_ms, part in found for t in part.t_ms)


def test_only_blocks_that_are_over_are_ripe() -> None:
    sealed, left = ripe({"core": columns([0, 599_999, 600_000], [1, 2, 3])}, 600_000)
    assert sealed["core"][0][1].t_ms == [0, 599_999]
    assert left["core"].t_ms == [600_000]
