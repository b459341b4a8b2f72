"""Hot holding: cooked meat off the pit stays at or above the limit, whatever the stage is called.

Source: FDA Food Code 3-501.16(A)(1).
"""

from __future__ import annotations

from dataclasses import dataclass

from pitlogger.clock import rfc3339
from pitlogger.model.cooks import HOT_OFF_PIT
from pitlogger.model.quantities import show_duration, show_temperature
from pitlogger.safety.history import PieceHistory, Point, longest_hole_ms, within
from pitlogger.safety.policy import Policy, Temperature
from pitlogger.safety.segments import crossing_ms
from pitlogger.safety.tables import ROUNDING_MC
from pitlogger.safety.verdict import NO_PROBE, Verdict, not_concerned


@dataclass(slots=True)
class BreachClock:
    """Watches one limit, one reading at a time; plain values, so it can be stored.

    Attributes:
        limit_mc: The limit; being at it is within it.
        delay_ms: How long the value must stay beyond the limit before it is a breach.
        above: True where the limit is an upper one, as for cold holding.
        since_ms: When the value last went beyond the limit, ``None`` while within.
        breached_ms: When the first breach was complete, ``None`` if there was none.
        breach_from_ms: When that breach began.
        worst_mc: The value furthest beyond, or nearest to, the limit so far.
    """

    limit_mc: int
    delay_ms: int
    above: bool = False
    since_ms: float | None = None
    breached_ms: float | None = None
    breach_from_ms: float | None = None
    beyond_ms: float = 0.0
    worst_mc: int | None = None
    last_ms: int | None = None
    last_mc: int = 0

    def update(self, t_ms: int, value_mc: int, by_hand: bool = False) -> None:
        """Take one reading; a hand reading beyond the limit is a breach without delay."""
        if self.worst_mc is None or (value_mc > self.worst_mc) == self.above:
            self.worst_mc = value_mc
        if self._is_beyond(value_mc):
            if self.since_ms is None:
                self.since_ms = self._crossing_ms(t_ms, value_mc)
            self._count(self.since_ms, t_ms, by_hand)
        elif self.since_ms is not None:
            back_ms = self._crossing_ms(t_ms, value_mc)
            self._count(self.since_ms, back_ms, by_hand=False)
            self.beyond_ms += back_ms - self.since_ms
            self.since_ms = None
        self.last_ms, self.last_mc = t_ms, value_mc

    def beyond_now_ms(self, now_ms: int) -> float:
        """Return how long the value has been beyond the limit without a break."""
        return 0.0 if self.since_ms is None else now_ms - self.since_ms

    def is_in_breach(self, now_ms: int) -> bool:
        """Return whether the value is beyond the limit, and past its delay or by hand."""
        if self.since_ms is None:
            return False
        is_told = self.breached_ms is not None and self.breached_ms >= self.since_ms
        return is_told or now_ms - self.since_ms >= self.delay_ms

    def _is_beyond(self, value_mc: int) -> bool:
        if self.above:
            return value_mc > self.limit_mc + ROUNDING_MC
        return value_mc < self.limit_mc - ROUNDING_MC

    def _crossing_ms(self, t_ms: int, value_mc: int) -> float:
        if self.last_ms is None:
            return t_ms
        return crossing_ms(self.last_ms, self.last_mc, t_ms, value_mc, self.limit_mc)

    def _count(self, since_ms: float, until_ms: float, by_hand: bool) -> None:
        if self.breached_ms is None and (by_hand or until_ms - since_ms >= self.delay_ms):
            self.breach_from_ms = since_ms
            self.breached_ms = until_ms if by_hand else since_ms + self.delay_ms


def hot_limit(policy: Policy, is_charted_roast: bool = False) -> Temperature:
    """Return the limit a piece is held to; the roast limit only where the policy allows it."""
    if is_charted_roast and policy.hot_hold_roasts.value == "hot-hold-roast":
        return policy.hot_hold_roast
    return policy.hot_hold


def hold_clock(policy: Policy, is_charted_roast: bool = False) -> BreachClock:
    """Return a clock for hot holding, to be fed the coldest valid core."""
    return BreachClock(hot_limit(policy, is_charted_roast).mc, policy.hot_hold_delay.ms)


def holding(
    history: PieceHistory, points: list[Point], policy: Policy, is_charted_roast: bool = False
) -> Verdict:
    """Judge hot holding over every time the piece was cooked and off the pit."""
    limit = hot_limit(policy, is_charted_roast)
    source = policy.cite(limit)
    spans = history.during(HOT_OFF_PIT)
    if not spans:
        return not_concerned(source, "never held hot: no resting, holding or serving stage was set")
    if not history.has_values:
        return Verdict(True, None, source, NO_PROBE)
    lowest: list[int] = []
    clocks = []
    for from_ms, to_ms in spans:
        clock = hold_clock(policy, is_charted_roast)
        for point in within(points, from_ms, to_ms):
            clock.update(point.t_ms, point.low_mc)
            if _by_hand_below(history, point, clock):
                clock.update(point.t_ms, point.low_mc, by_hand=True)
        clocks.append(clock)
        if clock.worst_mc is not None:
            lowest.append(clock.worst_mc)
    shown = show_temperature(limit.mc)
    for clock in clocks:
        if clock.breach_from_ms is not None:
            return Verdict(True, False, source, _breach(clock, shown))
    reason = _hole(history, points, spans, policy)
    if reason:
        return Verdict(True, None, source, reason)
    low = show_temperature(min(lowest), digits=1)
    return Verdict(True, True, source, f"lowest core {low}, at or above {shown} throughout")


def _by_hand_below(history: PieceHistory, point: Point, clock: BreachClock) -> bool:
    """Return whether the lowest value at this time is a hand reading beyond the limit."""
    return clock.since_ms is not None and (point.t_ms, point.low_mc) in history.spots


def _breach(clock: BreachClock, shown: str) -> str:
    assert clock.breach_from_ms is not None
    assert clock.worst_mc is not None
    since = rfc3339(round(clock.breach_from_ms / 1000) * 1000)
    until_ms = clock.last_ms if clock.since_ms is not None and clock.last_ms else None
    beyond_ms = clock.beyond_ms + (until_ms - clock.since_ms if until_ms and clock.since_ms else 0)
    worst = show_temperature(clock.worst_mc, digits=1)
    return f"below {shown} from {since}, {show_duration(beyond_ms)} in all, lowest core {worst}"


def _hole(
    history: PieceHistory, points: list[Point], spans: list[tuple[int, int]], policy: Policy
) -> str:
    """Return why the record does not show the limit met, or an empty text."""
    for from_ms, to_ms in spans:
        if moved := history.moved_within(from_ms, to_ms):
            return f"a probe was moved at {rfc3339(moved[0])}: not shown"
        hole_ms = longest_hole_ms(points, from_ms, to_ms)
        if hole_ms > policy.max_gap.ms or not within(points, from_ms, to_ms):
            return gap_reason(hole_ms, policy)
    return ""


def gap_reason(hole_ms: float, policy: Policy) -> str:
    """Return the words for a hole in the record."""
    return (
        f"no reading for {show_duration(hole_ms)}, longer than the "
        f"{show_duration(policy.max_gap.ms)} this policy allows: not shown"
    )
