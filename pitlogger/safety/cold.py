"""Cold holding of raw meat and leftovers, and date marks.

Sources: FDA Food Code 3-501.16(A)(2); 3-501.17 (date marks, from memory).
"""

from __future__ import annotations

from pitlogger.clock import rfc3339
from pitlogger.model.cooks import BEFORE_FIRE, Stage
from pitlogger.model.quantities import show_temperature
from pitlogger.safety.history import PieceHistory, Point, longest_hole_ms, within
from pitlogger.safety.holding import BreachClock, gap_reason
from pitlogger.safety.policy import Policy
from pitlogger.safety.tables import ROUNDING_MC
from pitlogger.safety.verdict import NO_PROBE, Verdict, not_concerned


def cold_clock(policy: Policy) -> BreachClock:
    """Return a clock for cold holding, to be fed the warmest valid value."""
    return BreachClock(policy.cold_hold.mc, policy.cold_hold_delay.ms, above=True)


def cold_hold(history: PieceHistory, points: list[Point], policy: Policy) -> Verdict:
    """Judge cold holding: raw meat by its cold store, leftovers by their own core.

    Leftovers are judged from the time they first reached the limit: until then they cool.
    """
    source = policy.cite(policy.cold_hold)
    parts = _raw_parts(history) + _leftover_parts(history, points, policy)
    chilled = history.during([Stage.CHILLED])
    if not parts and not chilled:
        return not_concerned(source, "not held cold: no cold channel and no chilled stage")
    shown = show_temperature(policy.cold_hold.mc)
    warmest: list[int] = []
    for part, _, _ in parts:
        clock = cold_clock(policy)
        for point in part:
            clock.update(point.t_ms, point.high_mc)
        if clock.breach_from_ms is not None and clock.worst_mc is not None:
            since = rfc3339(round(clock.breach_from_ms / 1000) * 1000)
            worst = show_temperature(clock.worst_mc, digits=1)
            return Verdict(True, False, source, f"above {shown} from {since}, warmest {worst}")
        warmest += [] if clock.worst_mc is None else [clock.worst_mc]
    if not warmest:
        reason = "not at its limit yet: still cooling" if history.has_values else NO_PROBE
        return Verdict(True, None, source, reason)
    for part, from_ms, to_ms in parts:
        if moved := history.moved_within(from_ms, to_ms):
            reason = f"a probe was moved at {rfc3339(moved[0])}: not shown"
            return Verdict(True, None, source, reason)
        hole_ms = longest_hole_ms(part, from_ms, to_ms)
        if hole_ms > policy.max_gap.ms:
            return Verdict(True, None, source, gap_reason(hole_ms, policy))
    told = show_temperature(max(warmest), digits=1)
    return Verdict(True, True, source, f"warmest {told}, at or below {shown} throughout")


Part = tuple[list[Point], int, int]


def _raw_parts(history: PieceHistory) -> list[Part]:
    parts = []
    for series in history.cold:
        whole = [Point(t_ms, value_mc, value_mc) for t_ms, value_mc in series.points]
        for from_ms, to_ms in history.during(BEFORE_FIRE):
            if inside := list(within(whole, from_ms, to_ms)):
                parts.append((inside, from_ms, to_ms))
    return parts


def _leftover_parts(history: PieceHistory, points: list[Point], policy: Policy) -> list[Part]:
    parts = []
    for from_ms, to_ms in history.during([Stage.COOLING, Stage.CHILLED]):
        inside = within(points, from_ms, to_ms)
        reached = [
            index
            for index, point in enumerate(inside)
            if point.high_mc <= policy.cold_hold.mc + ROUNDING_MC
        ]
        if reached:
            held = list(inside[reached[0] :])
            parts.append((held, held[0].t_ms, to_ms))
    return parts


def use_by_ms(prepared_ms: int, policy: Policy) -> int:
    """Return when chilled leftovers are thrown away; the day of preparation is day 1.

    Times are UTC milliseconds; the last day is counted in whole days from preparation.
    """
    return prepared_ms + policy.date_mark.ms - 86_400_000
