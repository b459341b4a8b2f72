"""Cold holding of raw meat and leftovers, and date marks.

Sources: FDA Food Code 3-501.16(A)(2); 3-501.17 (date marks, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from pitlogger.clock import rfc3339
from pitlogger.model.cooks import BEFORE_FIRE, Stage
from pitlogger.model.quantities import show_duration, show_temperature
from pitlogger.safety.history import (
    Hole,
    PieceHistory,
    Point,
    hole_words,
    longest_hole,
    within,
)
from pitlogger.safety.holding import BreachClock, beyond_words
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
    for part in parts:
        clock = cold_clock(policy)
        for point in part.points:
            clock.update(point.t_ms, point.high_mc)
        if clock.breach_from_ms is not None and clock.worst_mc is not None:
            since = rfc3339(round(clock.breach_from_ms / 1000) * 1000)
            worst = beyond_words(clock.worst_mc, policy.cold_hold.mc)
            return Verdict(True, False, source, f"above {shown} from {since}, warmest {worst}")
        warmest += [] if clock.worst_mc is None else [clock.worst_mc]
    if not warmest:
        return Verdict(True, None, source, _never_cold(history, chilled, policy))
    for part in parts:
        if moved := history.moved_within(part.from_ms, part.to_ms):
            reason = f"a probe was moved at {rfc3339(moved[0])}: not shown"
            return Verdict(True, None, source, reason)
        if (hole := _hole(history, part, policy)) is not None:
            return Verdict(True, None, source, hole_words(hole, policy.max_gap.ms))
    return Verdict(True, True, source, _met_words(max(warmest), shown, policy))


def _never_cold(history: PieceHistory, chilled: list[tuple[int, int]], policy: Policy) -> str:
    """Return why nothing shows that it was ever at its limit: no probe, a silent one, or warm."""
    if not history.has_values:
        return NO_PROBE
    for from_ms, to_ms in chilled:
        hole = longest_hole(history, from_ms, to_ms, policy.max_gap.ms, policy.settle.ms)
        if hole is not None:
            return hole_words(hole, policy.max_gap.ms)
    return "not at its limit yet: still cooling"


def _met_words(warmest_mc: int, shown: str, policy: Policy) -> str:
    told = show_temperature(warmest_mc, digits=1)
    if warmest_mc <= policy.cold_hold.mc + ROUNDING_MC:
        return f"warmest {told}, at or below {shown} throughout"
    delay = show_duration(policy.cold_hold_delay.ms)
    return f"at or below {shown} but for rises to {told}, each shorter than the {delay} that count"


@dataclass(frozen=True, slots=True)
class _Part:
    """A time held cold: by its store (``place``) while raw, by its own core afterwards."""

    points: Sequence[Point]
    from_ms: int
    to_ms: int
    place: str = ""


def _hole(history: PieceHistory, part: _Part, policy: Policy) -> Hole | None:
    if not part.place:
        return longest_hole(history, part.from_ms, part.to_ms, policy.max_gap.ms, policy.settle.ms)
    times = [part.from_ms, *(point.t_ms for point in part.points), part.to_ms]
    holes = [Hole(part.place, before, after) for before, after in pairwise(times)]
    longest = max(holes, key=lambda hole: hole.ms)
    return longest if longest.ms > policy.max_gap.ms else None


def _raw_parts(history: PieceHistory) -> list[_Part]:
    parts = []
    for series in history.cold:
        whole = [Point(t_ms, value_mc, value_mc) for t_ms, value_mc in series.points]
        for from_ms, to_ms in history.during(BEFORE_FIRE):
            parts.append(_Part(within(whole, from_ms, to_ms), from_ms, to_ms, series.channel))
    return parts


def _leftover_parts(history: PieceHistory, points: list[Point], policy: Policy) -> list[_Part]:
    parts = []
    for from_ms, to_ms in history.during([Stage.COOLING, Stage.CHILLED]):
        inside = within(points, from_ms, to_ms)
        for index, point in enumerate(inside):
            if point.whole and point.high_mc <= policy.cold_hold.mc + ROUNDING_MC:
                parts.append(_Part(inside[index:], point.t_ms, to_ms))
                break
    return parts
