"""What probes say of each other: swapped, in the air, drifting apart.

Pure functions of levels and of minutes kept, milli-degC and milliseconds. All limits are ours;
each is where meat on a pit cannot be, not where it seldom is, since two spots of one piece may
differ by many degrees and part from each other for hours in the stall.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

SWAPPED_WITHIN_MC = 500
SWAPPED_SHARE = 0.3  # of what lay between the two
SWAPPED_LEAST_MC = 2_000  # nearer to each other nobody can tell
BEFORE_MS, AFTER_MS = 8 * 60_000, 4 * 60_000  # how much of a level is looked at around a step
HANDS_MS = 60_000  # to pull a probe out and stick it in again, on either side of it
LEAST_BEFORE, LEAST_AFTER = 5, 3
SPARSE_MS = 20 * 60_000  # of a probe that reads every few minutes, so much is looked at before
LEAST_SPARSE_BEFORE, LEAST_SPARSE_AFTER = 3, 2
AIR_MC = 102_000  # meat holds water: its core stays under the boiling point
CORE_LIKE_MC = 30_000  # so far under a "core" that reads like a pit, a "pit" sits in meat
WINDOW_MS = 60 * 60_000
APART_MC = 3_000  # one down and the other up by so much within an hour
STEADY_PIT_MC = 15_000
LEAST_MINUTES = 20


def step_at(
    times_ms: Sequence[int], levels_mc: Sequence[int], at_ms: int
) -> tuple[float, float] | None:
    """Return the level at a time by the line before it and by the line after it.

    Where a probe reads so seldom that a line after it would be noise, its mean is taken.

    Args:
        times_ms: Minutes kept, shape (n,), ascending; ``levels_mc`` their levels, milli-degC.
        at_ms: Four minutes before the last of them.

    Returns:
        Both levels, milli-degC; ``None`` where too little is known on either side.
    """
    first = bisect_left(times_ms, at_ms - BEFORE_MS)
    middle = bisect_left(times_ms, at_ms - HANDS_MS)
    after = bisect_left(times_ms, at_ms + HANDS_MS)
    if middle - first < LEAST_BEFORE:
        first = max(bisect_left(times_ms, at_ms - SPARSE_MS), middle - LEAST_BEFORE, 0)
    if middle - first < LEAST_SPARSE_BEFORE or len(times_ms) - after < LEAST_SPARSE_AFTER:
        return None
    behind = levels_mc[after:]
    return (
        _line_at(times_ms[first:middle], levels_mc[first:middle], at_ms),
        sum(behind) / len(behind)
        if len(behind) < LEAST_AFTER
        else _line_at(times_ms[after:], behind, at_ms),
    )


def _line_at(times_ms: Sequence[int], levels_mc: Sequence[int], at_ms: int) -> float:
    """Return where the least-squares line through some points lies at a time."""
    n = len(times_ms)
    mean_t, mean_mc = sum(times_ms) / n, sum(levels_mc) / n
    spread = sum((t - mean_t) ** 2 for t in times_ms)
    if not spread:
        return mean_mc
    rise = sum((t - mean_t) * mc for t, mc in zip(times_ms, levels_mc, strict=True)) / spread
    return mean_mc + rise * (at_ms - mean_t)


def have_swapped(a_from: float, a_to: float, b_from: float, b_to: float) -> bool:
    """Return whether two channels that stepped at one time have changed places.

    Args:
        a_from: Level of one before the step, milli-degC; ``a_to`` after it; ``b`` likewise.
    """
    between = abs(a_from - b_from)
    near = max(SWAPPED_WITHIN_MC, SWAPPED_SHARE * between)
    return between >= SWAPPED_LEAST_MC and abs(a_to - b_from) <= near and abs(b_to - a_from) <= near


def is_in_air(core_mc: int) -> bool:
    """Return whether a core probe reads what no meat with water in it comes to."""
    return core_mc >= AIR_MC


def sits_in_meat(pit_mc: int, core_mc: int) -> bool:
    """Return whether a pit probe reads like meat while a core probe reads like a pit."""
    return is_in_air(core_mc) and pit_mc <= core_mc - CORE_LIKE_MC


def drift_apart(
    times_ms: Sequence[int],
    levels_mc: Sequence[int],
    other_ms: Sequence[int],
    other_mc: Sequence[int],
    now_ms: int,
) -> bool:
    """Return whether a core falls while its neighbour in the same piece rises, for an hour.

    With a steady fire under both, heat goes one way. The times are those of the minutes kept,
    shape (n,) each, ascending.
    """
    mine = _gain(times_ms, levels_mc, now_ms)
    others = _gain(other_ms, other_mc, now_ms)
    return mine is not None and others is not None and mine <= -APART_MC and others >= APART_MC


def is_steady(times_ms: Sequence[int], levels_mc: Sequence[int], now_ms: int) -> bool:
    """Return whether a pit stayed within 15 C over the last hour."""
    held = levels_mc[bisect_left(times_ms, now_ms - WINDOW_MS) :]
    return len(held) >= LEAST_MINUTES and max(held) - min(held) <= STEADY_PIT_MC


def _gain(times_ms: Sequence[int], levels_mc: Sequence[int], now_ms: int) -> int | None:
    """Return by how much a level rose in an hour, ``None`` where too little of it is known."""
    first = bisect_left(times_ms, now_ms - WINDOW_MS)
    if len(times_ms) - first < LEAST_MINUTES or times_ms[first] > now_ms - WINDOW_MS * 0.9:
        return None
    if now_ms - times_ms[-1] > 5 * 60_000:
        return None
    return levels_mc[-1] - levels_mc[first]
