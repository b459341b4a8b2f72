"""Which readings are ripe for packing: pure functions.

Fresh readings wait in the tail until the ten-minute block they belong to is over.
"""

from __future__ import annotations

from bisect import bisect_left

from pitlogger.store.packing import Columns
from pitlogger.store.schema import BLOCK_MS


def block_of(t_ms: int) -> int:
    """Return the start of the ten-minute block of an engine time."""
    return t_ms // BLOCK_MS * BLOCK_MS


def joined(earlier: dict[str, Columns], later: dict[str, Columns]) -> dict[str, Columns]:
    """Return the readings of both, by channel, channels in the order they first came."""
    both = dict(earlier)
    for channel, columns in later.items():
        both[channel] = both[channel].plus(columns) if channel in both else columns
    return both


def blocks(columns: Columns) -> list[tuple[int, Columns]]:
    """Return readings of one channel by block, in order of time."""
    if columns.t_ms != sorted(columns.t_ms):
        columns = columns.in_order()
    found = []
    at = 0
    while at < len(columns):
        block_ms = block_of(columns.t_ms[at])
        stop = bisect_left(columns.t_ms, block_ms + BLOCK_MS, at)
        found.append((block_ms, columns.cut(at, stop)))
        at = stop
    return found


def ripe(
    waiting: dict[str, Columns], before_ms: int
) -> tuple[dict[str, list[tuple[int, Columns]]], dict[str, Columns]]:
    """Return the blocks that end by ``before_ms``, by channel, and what is left."""
    sealed: dict[str, list[tuple[int, Columns]]] = {}
    left: dict[str, Columns] = {}
    for channel, columns in waiting.items():
        split = blocks(columns)
        if split and split[-1][0] + BLOCK_MS > before_ms:
            left[channel] = split.pop()[1]
        if split:
            sealed[channel] = split
    return sealed, left
