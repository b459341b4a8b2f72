"""Stuck over a whole record: equal readings of a probe whose readings are noisy are no readings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median

NOISE_COUNTED = 60
NOISE_SHARE = 0.25
LEAST_BEND_MC = 50
STILL_READINGS = 40
NEVER = 1e-9
STILL_MS = 600_000


def still_spans(points: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return from when to when readings are equal as a probe with this noise never makes them.

    Noise shows in how far a reading lies from the line through the two before it; a clean
    line from a table of test values has none, and may stand still.
    """
    found: list[tuple[int, int]] = []
    bends: list[int] = []
    noisy = first = step = 0
    for index in range(1, len(points) + 1):
        ended = index == len(points)
        change = 0 if ended else points[index][1] - points[index - 1][1]
        if not change and not ended:
            continue
        is_noisy = len(bends) >= NOISE_COUNTED and noisy >= NOISE_SHARE * len(bends)
        still_ms = points[index - 1][0] - points[first][0]
        if is_noisy and still_ms >= STILL_MS and index - 1 - first >= _never_alike(bends, step):
            found.append((points[first][0] + 1, points[index - 1][0]))
        step = min(step or abs(change), abs(change) or step)
        if index > 1 and not ended:
            bend = abs(change - (points[index - 1][1] - points[index - 2][1]))
            noisy += bend >= max(2 * step, LEAST_BEND_MC)
            bends.append(bend)
        first = index
    return found


def _never_alike(bends: Sequence[int], step: int) -> int:
    """Return how many readings in a row noise of this size never makes equal.

    Readings with normal noise of deviation s, shown in steps of d, equal the one before with a
    chance of about d / (2 s sqrt(pi)); the bend of three of them has the deviation s sqrt(6).
    """
    deviation = median(bends) / (0.6745 * math.sqrt(6))
    alike = step / (2 * deviation * math.sqrt(math.pi)) if deviation else 1.0
    if alike >= 0.5:
        return STILL_READINGS
    return math.ceil(math.log(NEVER) / math.log(alike))
