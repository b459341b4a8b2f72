"""The straight line between two readings: when it crosses a limit, how long it lies between two.

Times in milliseconds, temperatures in milli-degrees Celsius.
"""

from __future__ import annotations


def crossing_ms(t0_ms: float, v0_mc: float, t1_ms: float, v1_mc: float, limit_mc: float) -> float:
    """Return when the line from one reading to the next meets ``limit_mc``, within the two."""
    if v0_mc == v1_mc:
        return t0_ms
    share = min(1.0, max(0.0, (limit_mc - v0_mc) / (v1_mc - v0_mc)))
    return t0_ms + share * (t1_ms - t0_ms)


def line_at(t0_ms: int, v0_mc: int, t1_ms: int, v1_mc: int, t_ms: int) -> int:
    """Return where the line from one reading to the next lies at a time between them."""
    return round(v0_mc + (t_ms - t0_ms) / (t1_ms - t0_ms) * (v1_mc - v0_mc))


def time_above_ms(t0_ms: float, v0_mc: float, t1_ms: float, v1_mc: float, limit_mc: float) -> float:
    """Return for how long the line is at or above ``limit_mc``."""
    if v0_mc >= limit_mc and v1_mc >= limit_mc:
        return t1_ms - t0_ms
    if v0_mc < limit_mc and v1_mc < limit_mc:
        return 0.0
    at_ms = crossing_ms(t0_ms, v0_mc, t1_ms, v1_mc, limit_mc)
    return t1_ms - at_ms if v1_mc >= limit_mc else at_ms - t0_ms


def time_between_ms(
    t0_ms: float, v0_mc: float, t1_ms: float, v1_mc: float, low_mc: float, high_mc: float
) -> float:
    """Return for how long the line lies from ``low_mc`` up to, but not at, ``high_mc``."""
    above_low = time_above_ms(t0_ms, v0_mc, t1_ms, v1_mc, low_mc)
    return above_low - time_above_ms(t0_ms, v0_mc, t1_ms, v1_mc, high_mc)
