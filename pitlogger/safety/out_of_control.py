"""Time out of control: food between the cold and the hot limit that is not being cooled.

Sources: FDA Food Code 3-501.19; USDA FSIS consumer advice (two hours, one above 90 F).
"""

from __future__ import annotations

from dataclasses import dataclass

from pitlogger.safety.policy import Policy
from pitlogger.safety.segments import time_between_ms


@dataclass(slots=True)
class OutOfControlClock:
    """Adds up time between the cold and the hot limit, off heat and not being cooled.

    Plain values, so it can be stored. A hole between two readings in the zone counts in
    full; one that cannot be known is the least favourable case.
    """

    low_mc: int
    high_mc: int
    limit_ms: int
    spent_ms: float = 0.0
    last_ms: int | None = None
    last_mc: int = 0

    def update(self, t_ms: int, core_mc: int) -> None:
        """Take one reading of the core."""
        if self.last_ms is not None:
            self.spent_ms += time_between_ms(
                self.last_ms, self.last_mc, t_ms, core_mc, self.low_mc, self.high_mc
            )
        self.last_ms, self.last_mc = t_ms, core_mc

    def pause(self) -> None:
        """Stop between two spans: what lies between is another limit's business."""
        self.last_ms = None

    def remaining_s(self) -> float:
        """Return the time left, below zero when it is over."""
        return (self.limit_ms - self.spent_ms) / 1000


def out_of_control_clock(policy: Policy, air_mc: int | None = None) -> OutOfControlClock:
    """Return a clock for food out of control; a hot day (``air_mc``) may shorten the limit."""
    is_hot_day = air_mc is not None and air_mc > policy.hot_day.mc
    limit = policy.out_of_control_hot_day if is_hot_day else policy.out_of_control
    return OutOfControlClock(policy.danger_low.mc, policy.danger_high.mc, limit.ms)
