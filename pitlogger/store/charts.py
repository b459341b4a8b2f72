"""Lines for charts: equal buckets of minimum, maximum and mean."""

from __future__ import annotations

import sqlite3
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence

from pitlogger.store.rollup import good
from pitlogger.store.rows import ChartLine
from pitlogger.store.schema import MINUTE_MS, PART_MS, PARTS
from pitlogger.store.series import (
    RunWindow,
    channel_names,
    clipped,
    stored_blocks,
    tail_columns,
    windows,
)

Point = tuple[int, int, int, int, int, int]  # t_ms, channel, n, mean, least, greatest


class _Buckets:
    """Buckets of one channel while they fill."""

    __slots__ = ("count", "high", "low", "total")

    def __init__(self, buckets: int) -> None:
        self.count = [0] * buckets
        self.total = [0] * buckets
        self.low = [0] * buckets
        self.high = [0] * buckets

    def add(self, bucket: int, n: int, total: int, low: int, high: int) -> None:
        if self.count[bucket]:
            self.low[bucket] = min(self.low[bucket], low)
            self.high[bucket] = max(self.high[bucket], high)
        else:
            self.low[bucket] = low
            self.high[bucket] = high
        self.count[bucket] += n
        self.total[bucket] += total


def chart(
    connection: sqlite3.Connection,
    channels: Sequence[str],
    from_ms: int,
    to_ms: int,
    buckets: int,
    run: str | None,
) -> list[ChartLine]:
    """Return a line a channel; see ``Reader.chart``."""
    if to_ms <= from_ms or buckets < 1:
        return [ChartLine(channel, [], [], [], [], []) for channel in channels]
    width_ms = -(-(to_ms - from_ms) // buckets)
    lines = {channel: _Buckets(buckets) for channel in channels}
    for window in windows(connection, from_ms, to_ms, run):
        names = channel_names(connection, window.run, channels)
        by_number = {number: lines[name] for number, name in names.items()}
        zero_ms = from_ms - window.offset_ms
        if width_ms < PART_MS:
            _fill_from_readings(connection, window, names, by_number, zero_ms, width_ms)
        else:
            _fill_from_rollup(connection, window, names, by_number, zero_ms, width_ms)
    return [_finished(name, line, from_ms, width_ms) for name, line in lines.items()]


def _finished(channel: str, line: _Buckets, from_ms: int, width_ms: int) -> ChartLine:
    filled = [bucket for bucket, count in enumerate(line.count) if count]
    return ChartLine(
        channel,
        [from_ms + bucket * width_ms for bucket in filled],
        [line.low[bucket] for bucket in filled],
        [line.high[bucket] for bucket in filled],
        [round(line.total[bucket] / line.count[bucket]) for bucket in filled],
        [line.count[bucket] for bucket in filled],
    )


def _fill_from_rollup(
    connection: sqlite3.Connection,
    window: RunWindow,
    names: dict[int, str],
    lines: dict[int, _Buckets],
    zero_ms: int,
    width_ms: int,
) -> None:
    """Sort rolled-up rows into buckets by their middle, then what is not rolled up yet."""
    whole = width_ms >= MINUTE_MS
    half_ms = (MINUTE_MS if whole else PART_MS) // 2
    connection.execute("BEGIN")
    try:
        points = (_minutes if whole else _parts)(connection, window, half_ms)
        for t_ms, channel, n, mean, low, high in points:
            line = lines.get(channel)
            if line is not None:
                line.add((t_ms + half_ms - zero_ms) // width_ms, n, n * mean, low, high)
        tail = tail_columns(connection, window.run, names)
    finally:
        connection.execute("ROLLBACK")
    for channel, columns in tail.items():
        if columns.t_ms != sorted(columns.t_ms):
            columns = columns.in_order()  # noqa: PLW2901
        times, values = good(clipped(columns, window))
        _fill(lines[channel], times, values, zero_ms, width_ms)


def _minutes(connection: sqlite3.Connection, window: RunWindow, half_ms: int) -> Iterable[Point]:
    cursor: Iterable[Point] = connection.execute(
        "SELECT t_ms, channel, n, mean, mean - low, mean + high FROM rollup"
        " WHERE t_ms >= ? AND t_ms < ?",
        (window.from_ms - half_ms, window.to_ms - half_ms),
    )
    return cursor


def _parts(connection: sqlite3.Connection, window: RunWindow, half_ms: int) -> Iterator[Point]:
    rows = connection.execute(
        "SELECT * FROM rollup WHERE t_ms > ? AND t_ms < ?",
        (window.from_ms - MINUTE_MS, window.to_ms),
    )
    first_ms, stop_ms = window.from_ms - half_ms, window.to_ms - half_ms
    for t_ms, channel, n, mean, low, high, *parts in rows:
        for part in range(PARTS):
            part_n, part_mean, part_low, part_high = parts[4 * part : 4 * part + 4]
            at_ms = t_ms + part * PART_MS
            if part_mean is None or not first_ms <= at_ms < stop_ms:
                continue
            yield (
                at_ms,
                channel,
                n // PARTS if part_n is None else part_n,
                mean + part_mean,
                mean - low + part_low,
                mean + high - part_high,
            )


def _fill_from_readings(
    connection: sqlite3.Connection,
    window: RunWindow,
    names: dict[int, str],
    lines: dict[int, _Buckets],
    zero_ms: int,
    width_ms: int,
) -> None:
    for found in stored_blocks(connection, window, names):
        for block in found:
            times, values = good(clipped(block.columns, window))
            _fill(lines[block.channel], times, values, zero_ms, width_ms)


def _fill(line: _Buckets, times: list[int], values: list[int], zero_ms: int, width_ms: int) -> None:
    """Sort readings in order of time into buckets, a slice a bucket."""
    at = 0
    while at < len(times):
        bucket = (times[at] - zero_ms) // width_ms
        stop = bisect_left(times, zero_ms + (bucket + 1) * width_ms, at)
        part = values[at:stop]
        line.add(bucket, len(part), sum(part), min(part), max(part))
        at = stop
