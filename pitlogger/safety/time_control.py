"""Time as a control, and time out of control.

Sources: FDA Food Code 3-501.19 (written procedure, marked food, four or six hours); USDA
FSIS consumer advice (two hours, one above 90 F).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pitlogger.clock import rfc3339
from pitlogger.model.quantities import show_duration, show_temperature
from pitlogger.safety.history import Point
from pitlogger.safety.policy import Duration, Policy
from pitlogger.safety.segments import time_between_ms
from pitlogger.safety.tables import ROUNDING_MC
from pitlogger.safety.verdict import Verdict

Mode = Literal["4h", "6h"]


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


@dataclass(frozen=True, slots=True)
class TimeControl:
    """Food under time as a control, and when it is thrown away."""

    verdict: Verdict
    discard_ms: int | None


def time_control(
    marked_ms: int,
    start_mc: int,
    points: list[Point],
    now_ms: int,
    policy: Policy,
    mode: Mode = "4h",
    *,
    is_marked: bool = True,
    is_for_susceptible: bool = False,
) -> TimeControl:
    """Judge food that is held by time instead of temperature.

    Args:
        marked_ms: When it left temperature control, as marked on it.
        start_mc: Its core then.
        points: Its core since, if it is read; needed for six hours.
        now_ms: The time judged at.
        policy: The limits in force.
        mode: Four hours, or six with the warmest part never above the policy's limit.
        is_marked: Whether the discard time stands on the food.
        is_for_susceptible: Whether guests are highly susceptible (3-501.19(D)).
    """
    limit: Duration = policy.time_control_4h if mode == "4h" else policy.time_control_6h
    source = policy.cite(limit)
    fault = _start_fault(start_mc, policy, mode)
    if is_for_susceptible and policy.time_control_susceptible.value == "none":
        fault = "not allowed for highly susceptible guests under this policy"
    if not is_marked:
        fault = "no discard time is marked on it: it is thrown away"
    if fault:
        return TimeControl(Verdict(True, False, source, fault), marked_ms)
    discard_ms = marked_ms + limit.ms
    if mode == "6h":
        cap_mc = policy.time_control_6h_max.mc + ROUNDING_MC
        warm = next((point for point in points if point.high_mc > cap_mc), None)
        if warm is not None:
            reason = f"above {show_temperature(cap_mc)} at {rfc3339(warm.t_ms)}: thrown away"
            return TimeControl(Verdict(True, False, source, reason), warm.t_ms)
        if not points:
            return TimeControl(
                Verdict(True, None, source, "the six hours need its temperature read"), discard_ms
            )
    late_ms = now_ms - discard_ms
    if late_ms > 0:
        reason = f"past its discard time by {show_duration(late_ms)}: thrown away"
        return TimeControl(Verdict(True, False, source, reason), discard_ms)
    reason = f"served or thrown away by {rfc3339(discard_ms)}, {show_duration(late_ms)} left"
    return TimeControl(Verdict(True, True, source, reason), discard_ms)


def _start_fault(start_mc: int, policy: Policy, mode: Mode) -> str:
    cold = start_mc <= policy.cold_hold.mc + ROUNDING_MC
    hot = start_mc >= policy.hot_hold.mc - ROUNDING_MC
    if cold or (hot and mode == "4h"):
        return ""
    ends = show_temperature(policy.cold_hold.mc) + " or below"
    if mode == "4h":
        ends += f", or {show_temperature(policy.hot_hold.mc)} or above"
    return f"started at {show_temperature(start_mc, digits=1)}; it must start at {ends}"
