"""Where an unassigned probe probably is, judged by its last few minutes of readings.

A probe in meat is cold or warms slowly; one in pit air jumps and then follows the pit; one that
was hot and cools away from any pit is in a cup, a box or a hand, and is not offered to a piece.
The thresholds are our own: raw meat is received at 5 degC or below (FDA Food Code 3-202.11), and
the core of a large cut warms by less than 40 K per hour (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Literal

Placement = Literal["meat", "pit", "room", "cooling", "moving", "unknown"]
LEAST_MINUTES = 4
_PIT_C = 60.0  # a pit that burns
_NEAR_PIT_K = 12.0
_MEAT_K_PER_MIN = 40.0 / 60.0
_RAW_C = 12.0  # out of the cold store for a while
_ROOM_C = (10.0, 38.0)
_STILL_K_PER_MIN = 0.1


def placement(levels_c: Sequence[float], pit_c: float | None) -> Placement:
    """Return where a probe probably is.

    Args:
        levels_c: Its temperatures, one per minute, the newest last.
        pit_c: Temperature of the pit, ``None`` if it is not known.
    """
    if len(levels_c) < LEAST_MINUTES:
        return "unknown"
    now_c, steps = levels_c[-1], [b - a for a, b in pairwise(levels_c)][-5:]
    rate = sum(steps) / len(steps)
    burns = pit_c is not None and pit_c >= _PIT_C
    if burns and pit_c is not None and abs(now_c - pit_c) <= _NEAR_PIT_K:
        return "pit"
    if max(map(abs, steps)) > 2.0 * _MEAT_K_PER_MIN + 0.5:
        return "moving"
    if rate < -_STILL_K_PER_MIN and now_c > _ROOM_C[1]:
        return "cooling"
    if now_c <= _RAW_C or (burns and rate >= _STILL_K_PER_MIN):
        return "meat"
    return "room" if _ROOM_C[0] <= now_c <= _ROOM_C[1] else "unknown"
