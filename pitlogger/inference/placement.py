"""Where an unassigned probe probably is, judged by its last few minutes of readings.

A probe in meat is cold or warms slowly; one in pit air jumps and then follows the pit; one that
was hot and cools away from any pit is in a cup, a box or a hand, and is not offered to a piece.
The thresholds are our own: raw meat is received at 5 degC or below (FDA Food Code 3-202.11), and
the core of a large cut warms by less than 40 K per hour (common practice, no source).
"""

from __future__ import annotations

import math
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
_PART_MINUTES, _PART_C, _PART_LOG_SD = 16, (18.0, 55.0), 0.4


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


def thin_part(levels_c: Sequence[float], pit_c: float | None) -> float | None:
    """Return the probability that a probe sits in a thin part of the meat, as a flat's end.

    From how it warms towards the pit before the stall: by our estimate a thick part takes 3.5 h to
    follow it, a part of 35 mm or less 1.4 h, both log-normal.

    Args:
        levels_c: Temperatures one minute apart, the newest last.
        pit_c: Pit temperature, ``None`` if it is not known.

    Returns:
        ``None`` where that cannot be told: too little read, no fire, at rest, or in the stall.
    """
    if pit_c is None or len(levels_c) < _PART_MINUTES:
        return None
    known = levels_c[-_PART_MINUTES:]
    rise_k_per_h = (known[-1] - known[0]) * 60.0 / (_PART_MINUTES - 1)
    if known[0] < _PART_C[0] or known[-1] > _PART_C[1] or rise_k_per_h < 60.0 * _STILL_K_PER_MIN:
        return None
    follows_h = (pit_c - sum(known) / len(known)) / rise_k_per_h
    thick, thin = (math.log(follows_h / usual_h) / _PART_LOG_SD for usual_h in (3.5, 1.4))
    return 1.0 / (1.0 + math.exp(0.5 * (thin * thin - thick * thick)))
