"""Reheating for hot holding: all parts to the limit, for long enough, soon enough.

Source: FDA Food Code 3-403.11(A), (C), (D).
"""

from __future__ import annotations

from dataclasses import dataclass

from pitlogger.clock import rfc3339
from pitlogger.model.cooks import Stage
from pitlogger.model.quantities import show_duration, show_temperature
from pitlogger.safety.history import PieceHistory, Point, hole_words, longest_hole, within
from pitlogger.safety.policy import Policy
from pitlogger.safety.segments import crossing_ms
from pitlogger.safety.tables import ROUNDING_MC
from pitlogger.safety.verdict import NO_PROBE, Verdict, not_concerned, worst

WARMED_MC = 5_000  # a door that stood open is no reheating that somebody forgot to mark; ours


@dataclass(slots=True)
class ReheatClock:
    """Follows a piece from the cold limit to the reheat limit; plain values throughout.

    Attributes:
        begun_ms: When reheating began: the first part of it rose through the cold limit, or the
            stage's start where the piece was warmer already.
        held_since_ms: Since when the coldest core has been at the limit, without a break.
        done_ms: When it had been there long enough.
    """

    begun_ms: float
    start_mc: int
    goal_mc: int
    hold_ms: int
    limit_ms: int
    is_cold: bool = True
    held_since_ms: float | None = None
    done_ms: float | None = None
    last_ms: int | None = None
    last_mc: int = 0

    def update(
        self, t_ms: int, low_mc: int, high_mc: int, sure: bool = False, whole: bool = True
    ) -> None:
        """Take the coldest and the warmest valid core at ``t_ms``.

        Args:
            sure: Read by hand with a checked thermometer.
            whole: No probe that counts is silent or in doubt; else nothing is credited.
        """
        if self.is_cold and high_mc <= self.start_mc:
            self.begun_ms = t_ms if whole else self.begun_ms
        elif self.is_cold:
            self.is_cold = False
            if self.last_ms is not None and whole:
                self.begun_ms = crossing_ms(
                    self.last_ms, self.last_mc, t_ms, high_mc, self.start_mc
                )
        if low_mc < self.goal_mc - ROUNDING_MC or not whole:
            self.held_since_ms = None
        else:
            if self.held_since_ms is None:
                self.held_since_ms = t_ms
            if self.done_ms is None and (sure or t_ms - self.held_since_ms >= self.hold_ms):
                self.done_ms = self.held_since_ms + self.hold_ms
        self.last_ms, self.last_mc = t_ms, high_mc

    def remaining_s(self, now_ms: int) -> float | None:
        """Return the time left, below zero when it is late; ``None`` once done."""
        if self.done_ms is not None:
            return None
        return (self.limit_ms - (now_ms - self.begun_ms)) / 1000

    def met(self) -> bool | None:
        """Return true or false once that is shown by what was read, else ``None``."""
        if self.done_ms is not None:
            return self.done_ms - self.begun_ms <= self.limit_ms
        is_late = self.last_ms is not None and self.last_ms - self.begun_ms > self.limit_ms
        return False if is_late else None


def reheat_clock(
    begun_ms: float, policy: Policy, is_commercial: bool = False, is_cold: bool = True
) -> ReheatClock:
    """Return a clock begun at the stage, or when the food had left the cold before that.

    Args:
        is_commercial: Plant-made ready-to-eat food.
        is_cold: Whether it may still be in the cold: it then begins when it leaves it.
    """
    goal = policy.reheat_commercial if is_commercial else policy.reheat
    hold_ms = 0 if is_commercial else policy.reheat_hold.ms
    return ReheatClock(
        begun_ms, policy.reheat_start.mc, goal.mc, hold_ms, policy.reheat_limit.ms, is_cold
    )


def reheating(history: PieceHistory, points: list[Point], policy: Policy) -> Verdict:
    """Judge every time a piece was reheated."""
    source = policy.cite(policy.reheat)
    spans = history.during([Stage.REHEATING])
    if not spans:
        return not_concerned(source, "not reheated")
    if not history.has_values:
        return Verdict(True, None, source, NO_PROBE)
    told: list[str] = []
    found: list[bool | None] = []
    for marked_ms, to_ms in spans:
        begun_ms = _warmed_ms(history, points, marked_ms, policy)
        clock = reheat_clock(begun_ms, policy, is_cold=begun_ms == marked_ms)
        from_ms = round(begun_ms)
        fed = within(points, from_ms, to_ms)
        for point in fed:
            is_sure = point.sure and point.hand
            clock.update(point.t_ms, point.low_mc, point.high_mc, is_sure, point.whole)
        met = clock.met()
        until_ms = to_ms if clock.done_ms is None else round(clock.done_ms)
        hole = longest_hole(history, from_ms, until_ms, policy.max_gap.ms, policy.settle.ms)
        if met and (moved := history.moved_within(from_ms, until_ms)):
            found.append(None)
            told.append(f"a probe was moved at {rfc3339(moved[0])}: not shown")
        elif met and hole is not None:
            found.append(None)
            told.append(hole_words(hole, policy.max_gap.ms))
        else:
            found.append(met)
            told.append(_told(clock, policy))
    return Verdict(True, worst(found), source, "; ".join(told))


def _warmed_ms(history: PieceHistory, points: list[Point], from_ms: int, policy: Policy) -> float:
    """Return when a piece left the cold, where it was plainly warm when it was marked."""
    start_mc = policy.reheat_start.mc
    since = [a for a, b in history.during([Stage.COOLING, Stage.CHILLED]) if b == from_ms]
    before = within(points, since[-1], from_ms) if since else ()
    if not before or before[-1].high_mc < start_mc + WARMED_MC:
        return from_ms
    for last, point in zip(before[-2::-1], before[:0:-1], strict=True):
        if last.high_mc <= start_mc:
            return crossing_ms(last.t_ms, last.high_mc, point.t_ms, point.high_mc, start_mc)
    return from_ms


def _told(clock: ReheatClock, policy: Policy) -> str:
    goal = show_temperature(clock.goal_mc)
    limit = show_duration(policy.reheat_limit.ms)
    if clock.done_ms is None:
        return f"{goal} not reached and held, limit {limit}"
    return f"{goal} held after {show_duration(clock.done_ms - clock.begun_ms)}, limit {limit}"
