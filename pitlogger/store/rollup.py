"""Minutes rolled up from readings: pure functions.

A row holds a minute and its six ten-second parts. The parts are kept as differences to the
minute, which are small and so take one or two bytes each instead of three.

    n, mean, low = mean - min, high = max - mean                  of the good readings
    n0..n5         readings of each part; all null where they are equal
    mean0..mean5   mean of the part - mean of the minute; null where the part is empty
    low0..low5     min of the part - min of the minute
    high0..high5   max of the minute - max of the part

Means are rounded to whole milli-units, half to even. Values beyond 2^60 are clipped: no
sensor gives them and SQLite could not keep them.
"""

from __future__ import annotations

from bisect import bisect_left
from itertools import pairwise
from typing import NamedTuple

from pitlogger.store.packing import Columns
from pitlogger.store.schema import MINUTE_MS, PART_MS, PARTS

_BOUND = 1 << 60


class Stats(NamedTuple):
    """Number, mean, least and greatest of some readings, in milli-units."""

    n: int
    mean: int
    low: int
    high: int


def stats(values: list[int]) -> Stats:
    """Return the statistics of at least one value."""
    return Stats(len(values), round(sum(values) / len(values)), min(values), max(values))


def good(columns: Columns) -> tuple[list[int], list[int]]:
    """Return times and values of the good readings, in the order given."""
    state = columns.state
    if state.count(0) != len(state):
        kept = [index for index, mark in enumerate(state) if not mark & 0xCF]
        times = [columns.t_ms[index] for index in kept]
        values = [columns.value[index] for index in kept]
    else:
        times, values = columns.t_ms, columns.value
    if values and (min(values) < -_BOUND or max(values) > _BOUND):
        values = [max(-_BOUND, min(value, _BOUND)) for value in values]
    return times, values


def minutes(columns: Columns) -> list[tuple[int | None, ...]]:
    """Return the rolled-up rows of readings in order of time: t_ms, then the columns above."""
    times, values = good(columns)
    rows = []
    at = 0
    while at < len(times):
        start_ms = times[at] // MINUTE_MS * MINUTE_MS
        cuts = [at]
        for part in range(1, PARTS + 1):
            cuts.append(bisect_left(times, start_ms + part * PART_MS, cuts[-1]))
        rows.append(_minute(start_ms, values, cuts))
        at = cuts[-1]
    return rows


def _minute(start_ms: int, values: list[int], cuts: list[int]) -> tuple[int | None, ...]:
    whole = stats(values[cuts[0] : cuts[-1]])
    counts = {stop - start for start, stop in pairwise(cuts)}
    row: list[int | None] = [
        start_ms,
        whole.n,
        whole.mean,
        whole.mean - whole.low,
        whole.high - whole.mean,
    ]
    for start, stop in pairwise(cuts):
        if start == stop:
            row += (0, None, None, None)
            continue
        part = stats(values[start:stop])
        row += (
            None if len(counts) == 1 else part.n,
            part.mean - whole.mean,
            part.low - whole.low,
            whole.high - part.high,
        )
    return tuple(row)
