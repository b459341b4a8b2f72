"""Time as a control: food held by time instead of temperature.

Food that is held by time begins cold or hot, is marked with the time at which it is thrown away,
and is eaten or thrown away by then; it does not go back to temperature control. From when that was
entered on, its temperature is no matter of the other limits, and counts for none of them.

Source: FDA Food Code 3-501.19 (written procedure, marked food, four or six hours).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pitlogger.clock import rfc3339
from pitlogger.model.book import ByTime
from pitlogger.model.cooks import BACK, NOT_BY_TIME, Stage
from pitlogger.model.journal import HeldByTime
from pitlogger.model.quantities import show_duration, show_temperature
from pitlogger.safety.history import (
    PieceHistory,
    Point,
    ProbeSeries,
    curve,
    doubted_words,
    hole_words,
    longest_hole,
    within,
)
from pitlogger.safety.instruments.belief import DoubtReason
from pitlogger.safety.phases import MARKED_LATE_MS
from pitlogger.safety.policy import Duration, Policy
from pitlogger.safety.tables import ROUNDING_MC
from pitlogger.safety.verdict import Verdict, not_concerned

START_KNOWN_MS = 10 * 60_000  # as long as a hand reading stands beside a probe; ours
NEAR_MS = 30 * 60_000  # before the discard time; ours
UNSAID = "nothing says what became of it"


@dataclass(slots=True)
class TimeClock:
    """The time left of a piece that is held by time; plain values, so it can be stored.

    Attributes:
        since_ms: When its time began; ``known_ms``: from when on other limits stand back.
        cap_mc: What its warmest part may not pass, ``None`` where there is no such limit.
        warm_ms: When it did. ``ended_ms``: when it was eaten or thrown away.
        back: The stage it went to that it may not go to, ``thrown`` whether it is thrown away.
    """

    since_ms: int
    known_ms: int
    limit_ms: int
    cap_mc: int | None = None
    warm_ms: int | None = None
    ended_ms: int | None = None
    back: str = ""
    thrown: bool = False

    @property
    def discard_ms(self) -> int:
        return self.since_ms + self.limit_ms

    def update(self, t_ms: int, high_mc: int) -> None:
        """Take the warmest core."""
        over = self.cap_mc is not None and high_mc > self.cap_mc + ROUNDING_MC
        if over and self.warm_ms is None and self.ended_ms is None:
            self.warm_ms = t_ms

    def enter(self, stage: Stage, t_ms: int) -> None:
        """Take a change of stage."""
        if t_ms <= self.since_ms:
            return
        if stage in (Stage.SERVED, Stage.DISCARDED) and self.ended_ms is None:
            self.ended_ms = t_ms
        if stage in BACK and not self.back:
            self.back = stage.value
        self.thrown = self.thrown or stage is Stage.DISCARDED

    def is_over(self, now_ms: int) -> bool:
        """Return whether what is left has to be thrown away now."""
        if self.thrown:
            return False
        until_ms = now_ms if self.ended_ms is None else self.ended_ms
        return bool(self.back) or self.warm_ms is not None or until_ms >= self.discard_ms

    def is_near(self, now_ms: int) -> bool:
        """Return whether its time is over soon."""
        left_ms = self.discard_ms - now_ms
        return self.ended_ms is None and not self.is_over(now_ms) and left_ms <= NEAR_MS

    def remaining_s(self, now_ms: int) -> float | None:
        """Return the time left, below zero when it is over, ``None`` once it was eaten."""
        return None if self.ended_ms is not None else (self.discard_ms - now_ms) / 1000


def time_clock(by_time: ByTime | None, policy: Policy) -> TimeClock | None:
    """Return the clock of a piece that is held by time."""
    if by_time is None:
        return None
    said = by_time.said
    cap_mc = policy.time_control_6h_max.mc if said.hours == 6 else None
    known_ms = max(said.at_ms, by_time.entered_ms)
    return TimeClock(said.at_ms, known_ms, limit_of(by_time.said, policy).ms, cap_mc)


def limit_of(said: HeldByTime, policy: Policy) -> Duration:
    """Return the time a piece may be held."""
    return policy.time_control_6h if said.hours == 6 else policy.time_control_4h


def before_time_control(history: PieceHistory) -> PieceHistory:
    """Return what other limits are judged on: the history until time was known to be the limit.

    A mark that is entered late undoes nothing: until it was entered, temperature was the limit.
    """
    if history.by_time is None:
        return history
    until_ms = max(history.by_time.said.at_ms, history.by_time.entered_ms)
    if until_ms >= history.end_ms:
        return history

    def cut(series: tuple[ProbeSeries, ...]) -> tuple[ProbeSeries, ...]:
        return tuple(
            replace(one, points=tuple(point for point in one.points if point[0] <= until_ms))
            for one in series
        )

    return replace(
        history,
        spans=tuple(
            replace(span, to_ms=None if span.to_ms is None else min(span.to_ms, until_ms))
            for span in history.spans
            if span.from_ms <= until_ms
        ),
        marks=tuple(mark for mark in history.marks if mark.at_ms <= until_ms),
        cores=cut(history.cores),
        surface=cut(history.surface),
        spots=tuple(spot for spot in history.spots if spot[0] <= until_ms),
        late=tuple(late for late in history.late if late[0] <= until_ms),
        withdrawn=tuple(one for one in history.withdrawn if one.t_ms <= until_ms),
        moves=tuple(move for move in history.moves if move[0] <= until_ms),
        end_ms=until_ms,
    )


def start_fault(
    history: PieceHistory, at_ms: int, hours: int, policy: Policy
) -> tuple[bool | None, str]:
    """Return whether a piece began as time control asks, and why not: ``None`` for not known.

    The last readings count that are not older than a hand reading stands. One by hand stands in
    for probes that are silent or in doubt, such as those pulled before slicing; where a probe is
    in doubt for that hand reading alone, nobody can tell which of the two is right.
    """
    hand = [mc for t_ms, mc in history.spots if at_ms - START_KNOWN_MS <= t_ms <= at_ms][-1:]
    gap = policy.max_gap.ms
    found = _core_at(curve(history, gap, policy.settle.ms), at_ms, hand)
    ends = _ends(hours, policy)
    if found is None or not found.whole:
        return None, f"its core is not known at its start, which must be {ends}"
    if not _begins(found, hours, policy):
        low, high = (show_temperature(mc, digits=1) for mc in (found.low_mc, found.high_mc))
        read = low if low == high else f"{low} to {high}"
        return False, f"its core was {read} at its start, which must be {ends}"
    everything = history.with_doubted()
    if hand:
        everything = replace(everything, cores=tuple(map(_contradicted, history.cores)))
    since_ms = at_ms - START_KNOWN_MS
    hand += [one.value_mc for one in history.withdrawn if since_ms <= one.t_ms <= at_ms]
    doubted = _core_at(curve(everything, gap), at_ms, hand)
    if doubted is not None and not _begins(doubted, hours, policy):
        return None, f"its core is in doubt at its start: {doubted_words(history)}"
    return True, ""


def _contradicted(core: ProbeSeries) -> ProbeSeries:
    """Return a core as if it were believed where nothing but a hand reading speaks against it."""
    return replace(core, doubts=tuple(d for d in core.doubts if d.why is not DoubtReason.HAND))


def _ends(hours: int, policy: Policy) -> str:
    ends = f"{show_temperature(policy.cold_hold.mc)} or below"
    return ends if hours == 6 else f"{ends}, or {show_temperature(policy.hot_hold.mc)} or above"


def _begins(point: Point, hours: int, policy: Policy) -> bool:
    is_cold = point.high_mc <= policy.cold_hold.mc + ROUNDING_MC
    return is_cold or (hours == 4 and point.low_mc >= policy.hot_hold.mc - ROUNDING_MC)


def _core_at(points: Sequence[Point], at_ms: int, hand: Sequence[int]) -> Point | None:
    """Return the core at a time by the last reading before it and by hand, ``None`` if too old."""
    at = bisect_right(points, at_ms, key=lambda point: point.t_ms)
    if not at or at_ms - points[at - 1].t_ms > START_KNOWN_MS:
        return None
    last = points[at - 1]
    low_mc, high_mc = min([last.low_mc, *hand]), max([last.high_mc, *hand])
    return Point(at_ms, low_mc, high_mc, whole=last.whole or bool(hand))


def time_control(history: PieceHistory, policy: Policy) -> Verdict:
    """Judge food that is held by time instead of temperature."""
    by_time = history.by_time
    if by_time is None:
        return not_concerned(policy.cite(policy.time_control_4h), "never held by time")
    limit = limit_of(by_time.said, policy)
    source = policy.cite(limit)
    if by_time.divided:
        begun, why = start_fault(history, by_time.said.at_ms, by_time.said.hours, policy)
        if begun is True:
            return not_concerned(source, "held by time; judged in what it became")
        return Verdict(True, begun, source, why if begun is False else f"{why}: not shown")
    met, reason = _judged(history, by_time, by_time.said.at_ms + limit.ms, policy)
    late_ms = by_time.entered_ms - by_time.said.at_ms
    if late_ms > MARKED_LATE_MS:
        reason += f"; that it is held by time was entered {show_duration(late_ms)} later"
    return Verdict(True, met, source, reason)


def _judged(
    history: PieceHistory, by_time: ByTime, discard_ms: int, policy: Policy
) -> tuple[bool | None, str]:
    said = by_time.said
    begun, why = _begun(history, said, policy)
    if begun is False:
        return False, why
    back = next((s for s in history.spans if s.from_ms > said.at_ms and s.stage in BACK), None)
    if back is not None:
        return False, (
            f"{back.stage} at {rfc3339(back.from_ms)}: held by time it does not go back to "
            "temperature control and is thrown away"
        )
    ended, words = _ended(history, said.at_ms, discard_ms)
    if ended is False:
        return False, words
    shown = (True, "") if said.hours == 4 else _never_warm(history, said.at_ms, discard_ms, policy)
    if shown[0] is False:
        return shown
    for met, reason in ((begun, why), shown, (ended, words)):
        if met is None:
            return None, f"{reason}: not shown"
    return True, words


def _begun(history: PieceHistory, said: HeldByTime, policy: Policy) -> tuple[bool | None, str]:
    """Return whether a piece began as it must, and was what can be held by time."""
    if history.parents and (not history.spans or history.spans[0].from_ms > said.at_ms):
        return True, ""  # what it came of began it, and is judged for that
    stage = history.stage_at(said.at_ms)
    if stage in NOT_BY_TIME:
        return None, f"it was {stage.value} when its time began"
    return start_fault(history, said.at_ms, said.hours, policy)


def _ended(history: PieceHistory, at_ms: int, discard_ms: int) -> tuple[bool | None, str]:
    """Return whether it was eaten or thrown away by its discard time, as far as anybody said."""
    ends = (Stage.SERVED, Stage.DISCARDED)
    due = rfc3339(discard_ms)
    span = next((s for s in history.spans if s.stage in ends and s.from_ms > at_ms), None)
    if span is None:
        if history.end_ms >= discard_ms:
            return False, f"not served or thrown away by {due}, its discard time"
        return None, f"{UNSAID} by {due}, its discard time"
    what = f"{'served' if span.stage is Stage.SERVED else 'thrown away'} at {rfc3339(span.from_ms)}"
    if span.from_ms >= discard_ms:
        late = show_duration(span.from_ms - discard_ms)
        return False, f"{what}, {late} past its discard time"
    entered_ms = min(
        (mark.entered_ms for mark in history.marks
         if mark.stage is span.stage and mark.at_ms > at_ms), default=span.from_ms,
    )  # fmt: skip
    if entered_ms >= discard_ms:
        return None, f"{what}, which was entered after its discard time, {due}"
    return True, f"{what}, by its discard time, {due}"


def _never_warm(
    history: PieceHistory, from_ms: int, discard_ms: int, policy: Policy
) -> tuple[bool | None, str]:
    """Return whether the warmest part never passed the limit of six hours."""
    ends = (Stage.SERVED, Stage.DISCARDED)
    to_ms = min(
        [discard_ms, history.end_ms, *(span.from_ms for span in history.spans
                                       if span.stage in ends and span.from_ms > from_ms)]
    )  # fmt: skip
    gap, settle = policy.max_gap.ms, policy.settle.ms
    cap = policy.time_control_6h_max
    shown = show_temperature(cap.mc)

    def warm(one: PieceHistory, settle_ms: int) -> Point | None:
        points = within(curve(one, gap, settle_ms), from_ms, to_ms)
        return next((point for point in points if point.high_mc > cap.mc + ROUNDING_MC), None)

    found = warm(history, settle)
    if found is not None:
        return False, f"above {shown} at {rfc3339(found.t_ms)}: thrown away"
    if warm(history.with_doubted(), 0) is not None:
        return None, f"above {shown} by a reading in doubt: {doubted_words(history)}"
    if moved := history.moved_within(from_ms, to_ms):
        return None, f"a probe was moved at {rfc3339(moved[0])}"
    hole = longest_hole(history, from_ms, to_ms, gap, settle)
    return (True, "") if hole is None else (None, hole_words(hole, gap))
