"""Stuck over a whole record: equal readings where the probe's own noise, or the meat, must move.

A probe without noise that stands still tells nothing by itself: food in a warm box stands still
too. It is unlike meat where another probe of the same piece falls away from it, or where its pit
is long far colder than it.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate, groupby, pairwise
from operator import itemgetter
from statistics import median

NOISE_COUNTED = 60
NOISE_SHARE = 0.25
LEAST_BEND_MC = 50
STILL_READINGS = 40
NEVER = 1e-9
STILL_MS = 600_000
# Longer than the turn from rising to falling looks still on a display of whole degrees.
BESIDE_MS, COLDER_PIT_MS = 90 * 60_000, 120 * 60_000
FELL_MC, FELL_STEPS = 5_000, 20  # by so much, and so many steps of the one that stands
COLDER_PIT_MC = 20_000
NO_MC = 1 << 62
Points = Sequence[tuple[int, int]]


def still_spans(points: Points) -> list[tuple[int, int]]:
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


def left_behind(
    points: Points, others: Sequence[Points], pit: Points = ()
) -> list[tuple[int, int]]:
    """Return from when to when a core stood still though the meat it sits in went on.

    Args:
        points: Of the core, (t_ms, milli-degC); ``others`` those believed of the same piece.
        pit: What its pit read while the piece was on it.
    """
    step = min((abs(b[1] - a[1]) for a, b in pairwise(points) if a[1] != b[1]), default=0)
    return [
        (from_ms + 1, to_ms)
        for from_ms, to_ms, value_mc in _runs(points)
        if stands_alone((from_ms, to_ms), value_mc, step, others, pit)
    ]


def stands_alone(
    span_ms: tuple[int, int], value_mc: int, step_mc: int, others: Iterable[Points], pit: Points
) -> bool:
    """Return whether a core that stood still from when to when cannot be in its piece.

    Heat runs inside a piece: no place of it stays exactly as it is for an hour and a half while
    another falls by 5 K, nor for two hours while its pit is 20 K colder. Limits are ours.

    Args:
        step_mc: What it resolves.
    """
    if span_ms[1] - span_ms[0] < BESIDE_MS:
        return False
    least_mc = max(FELL_MC, FELL_STEPS * step_mc)
    if any(_fell(_between(other, *span_ms)) >= least_mc for other in others):
        return True
    colder_ms: int | None = None
    for t_ms, pit_mc in _between(pit, *span_ms):
        is_colder = pit_mc <= value_mc - COLDER_PIT_MC
        colder_ms = (t_ms if colder_ms is None else colder_ms) if is_colder else None
        if colder_ms is not None and t_ms - colder_ms >= COLDER_PIT_MS:
            return True
    return False


def _runs(points: Points) -> Iterator[tuple[int, int, int]]:
    """Yield each run of equal readings: its first and last time, and its value."""
    for value_mc, run in groupby(points, key=itemgetter(1)):
        times = [t_ms for t_ms, _ in run]
        yield times[0], times[-1], value_mc


def _between(points: Points, from_ms: int, to_ms: int) -> Points:
    return points[bisect_left(points, (from_ms, -NO_MC)) : bisect_right(points, (to_ms, NO_MC))]


def _fell(points: Points) -> int:
    """Return by how much readings fell at most, from a high one to a later low one."""
    tops = accumulate((value_mc for _, value_mc in points), max)
    return max((top - value_mc for top, (_, value_mc) in zip(tops, points, strict=True)), default=0)
