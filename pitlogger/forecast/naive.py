"""The two estimates made by hand: features of the library, yardsticks of the score."""

from __future__ import annotations

from math import log

LONGEST_H = 36.0
SHORTEST_SLOPE_C_PER_H = 0.3


def linear_h(level_c: float, target_c: float, slope_c_per_h: float) -> float:
    """Return hours to the target along the present slope, capped."""
    gap = max(target_c - level_c, 0.0)
    return min(gap / max(slope_c_per_h, SHORTEST_SLOPE_C_PER_H), LONGEST_H)


def exponential_h(level_c: float, target_c: float, slope_c_per_h: float, pit_c: float) -> float:
    """Return hours to the target when the gap to the pit dies out exponentially, capped."""
    ahead = max(pit_c - level_c, 1.0)
    left = max(pit_c - target_c, 0.5)
    if left >= ahead:
        return 0.0
    rate = max(slope_c_per_h, SHORTEST_SLOPE_C_PER_H) / ahead
    return min(log(ahead / left) / rate, LONGEST_H)
