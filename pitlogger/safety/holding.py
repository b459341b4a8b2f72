"""Hot holding: cooked meat off the pit stays at or above the limit, whatever the stage is called.

Source: FDA Food Code 3-501.16(A)(1).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pitlogger.clock import rfc3339
from pitlogger.model.cooks import HOT_OFF_PIT, Stage
from pitlogger.model.quantities import show_duration, show_temperature
from pitlogger.safety.history import PieceHistory, Point, hole_words, longest_hole
from pitlogger.safety.phases import Judged, Phase, late_marks, phases
from pitlogger.safety.policy import Policy, Temperature
from pitlogger.safety.segments import crossing_ms, line_at
from pitlogger.safety.tables import ROUNDING_MC
from pitlogger.safety.verdict import NO_PROBE, Verdict, not_concerned

# Meat of which nobody knows whether it was cooked: noise of its rise through the limit is no fall,
# so what lies so little below the limit is left out. Ours.
PERHAPS_COOKED_MC = 2_000


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


def beyond_words(value_mc: int, limit_mc: int) -> str:
    """Return a value beyond a limit in words that cannot read as the limit itself."""
    shown = show_temperature(value_mc, digits=1)
    is_alike = shown == show_temperature(limit_mc, digits=1)
    return show_temperature(value_mc, digits=2) if is_alike else shown


def hot_limit(policy: Policy, is_charted_roast: bool = False) -> Temperature:
    """Return the limit a piece is held to; the roast limit only where the policy allows it."""
    if is_charted_roast and policy.hot_hold_roasts.value == "hot-hold-roast":
        return policy.hot_hold_roast
    return policy.hot_hold


def hold_clock(policy: Policy, is_charted_roast: bool = False) -> BreachClock:
    """Return a clock for hot holding, to be fed the coldest valid core."""
    return BreachClock(hot_limit(policy, is_charted_roast).mc, policy.hot_hold_delay.ms)


def holding(
    history: PieceHistory,
    points: list[Point],
    policy: Policy,
    is_charted_roast: bool = False,
    cooked_ms: int | None = None,
) -> Verdict:
    """Judge hot holding over every time the piece was cooked and off the pit.

    Args:
        cooked_ms: When its cooking limit was met, 0 where that is not shown: from then on a
            fall under the limit is judged though nobody marked that it came off the pit.
    """
    limit = hot_limit(policy, is_charted_roast)
    source = policy.cite(limit)
    run = _Run(history, points, policy, is_charted_roast, cooked_ms)
    spans = history.during(HOT_OFF_PIT)
    if not spans and not run.breaches and not run.after_served:
        return not_concerned(source, "never held hot: no resting, holding or serving stage was set")
    if not history.has_values:
        return Verdict(True, None, source, NO_PROBE)
    if run.breaches:
        return Verdict(True, False, source, run.breach_words(limit))
    for from_ms, to_ms in spans:
        if moved := history.moved_within(from_ms, to_ms):
            reason = f"a probe was moved at {rfc3339(moved[0])}: not shown"
            return Verdict(True, None, source, reason)
        hole = longest_hole(history, from_ms, to_ms, policy.max_gap.ms, policy.settle.ms)
        if hole is not None:
            return Verdict(True, None, source, hole_words(hole, policy.max_gap.ms))
    if run.after_served:
        return Verdict(True, None, source, run.after_served)
    if run.lowest_mc is None:
        return Verdict(True, None, source, "no reading while it was held hot: not shown")
    along = _Run(history, points, policy, is_charted_roast, cooked_ms, policy.max_gap.ms)
    if along.breaches:
        return Verdict(True, None, source, along.between_words(limit))
    return Verdict(True, True, source, run.met_words(limit))


def _placed(
    points: Sequence[Point], held: Sequence[Phase], max_gap_ms: int
) -> Iterator[tuple[Point, Phase]]:
    """Yield each point with its phase.

    Args:
        max_gap_ms: Where a phase ends and the next begins between two points so near to each
            other, the line between them is yielded for both; 0 for readings alone.
    """
    at = 0
    last: Point | None = None
    for point in points:
        while at + 1 < len(held) and held[at + 1].from_ms <= point.t_ms:
            edge_ms = held[at + 1].from_ms
            if last is not None and edge_ms < point.t_ms <= last.t_ms + max_gap_ms:
                low_mc = line_at(last.t_ms, last.low_mc, point.t_ms, point.low_mc, edge_ms)
                edge = last._replace(t_ms=edge_ms, low_mc=low_mc)
                yield edge, held[at]
                yield edge, held[at + 1]
            at += 1
        yield point, held[at]
        last = point


class _Run:
    """The holding clocks of a piece, run over its whole record."""

    def __init__(
        self,
        history: PieceHistory,
        points: Sequence[Point],
        policy: Policy,
        is_charted_roast: bool,
        cooked_ms: int | None,
        max_gap_ms: int = 0,
    ) -> None:
        self.history = history
        self.delay_ms = policy.hot_hold_delay.ms
        self.breaches: list[tuple[BreachClock, Judged]] = []
        self.lowest_mc: int | None = None
        self.dips = 0
        self.after_served = ""
        limit = hot_limit(policy, is_charted_roast)
        self.was_cooked = "cooked" if cooked_ms else "perhaps cooked"
        hot_mc = limit.mc - ROUNDING_MC
        noise_mc = hot_mc if cooked_ms else hot_mc - PERHAPS_COOKED_MC
        clock: BreachClock | None = None
        was = Judged.NOT
        hot = False
        for point, phase in _placed(points, phases(history), max_gap_ms):
            judged = phase.judged
            if phase.told is Stage.REHEATING and was is not Judged.UNMARKED:
                hot = False
            cooked = cooked_ms is not None and point.t_ms >= cooked_ms
            hot = hot or (cooked and point.low_mc >= hot_mc)
            if judged is Judged.UNMARKED and not hot:
                self._end(clock, was)
                clock, was = None, judged
                continue
            if judged is Judged.NOT or (judged is not was and judged is Judged.HANDED_OVER):
                self._end(clock, was)
                clock = None
            is_noise = judged is Judged.UNMARKED and noise_mc <= point.low_mc < hot_mc
            if judged is not Judged.NOT and not is_noise:
                clock = clock or hold_clock(policy, is_charted_roast)
                self._take(clock, point, judged, limit)
            was = judged
        self._end(clock, was)

    def _take(self, clock: BreachClock, point: Point, judged: Judged, limit: Temperature) -> None:
        beyond = clock.since_ms
        clock.update(point.t_ms, point.low_mc)
        if clock.since_ms is not None and (point.t_ms, point.low_mc) in self.history.spots:
            clock.update(point.t_ms, point.low_mc, by_hand=True)
        self.dips += beyond is not None and clock.since_ms is None
        if judged is Judged.HELD:
            low_mc = point.low_mc if self.lowest_mc is None else min(self.lowest_mc, point.low_mc)
            self.lowest_mc = low_mc
        if judged is Judged.HANDED_OVER and clock.breached_ms and not self.after_served:
            read = show_temperature(clock.worst_mc or point.low_mc, digits=1)
            self.after_served = (
                f"{read} was read by {rfc3339(point.t_ms)}, under {show_temperature(limit.mc)}, "
                "after it was marked served (eaten or handed over): not shown"
            )

    def _end(self, clock: BreachClock | None, judged: Judged) -> None:
        if clock is None or judged is Judged.HANDED_OVER:
            return
        if clock.breach_from_ms is not None:
            self.breaches.append((clock, judged))

    def breach_words(self, limit: Temperature) -> str:
        """Return the first breach, and what was marked late or not at all."""
        clock, judged = self.breaches[0]
        assert clock.breach_from_ms is not None
        assert clock.worst_mc is not None
        since = rfc3339(round(clock.breach_from_ms / 1000) * 1000)
        until_ms = clock.last_ms if clock.since_ms is not None and clock.last_ms else None
        more_ms = until_ms - clock.since_ms if until_ms and clock.since_ms is not None else 0
        words = (
            f"below {show_temperature(limit.mc)} from {since}, "
            f"{show_duration(clock.beyond_ms + more_ms)} in all, "
            f"lowest core {beyond_words(clock.worst_mc, limit.mc)}"
        )
        if judged is Judged.UNMARKED:
            words += f"; {self.was_cooked}, and no mark says that it came off the pit or was cooled"
        return "; ".join([words, *late_marks(self.history)])

    def between_words(self, limit: Temperature) -> str:
        """Return the first time that lies below the limit between two readings alone."""
        since_ms = self.breaches[0][0].breach_from_ms
        assert since_ms is not None
        return (
            f"below {show_temperature(limit.mc)} from {rfc3339(round(since_ms / 1000) * 1000)} "
            "until the next mark, by the line between the readings before and after it: not shown; "
            "a hand reading at the mark shows it"
        )

    def met_words(self, limit: Temperature) -> str:
        """Return what shows that the limit was met; dips too short to count are named."""
        assert self.lowest_mc is not None
        shown = show_temperature(limit.mc)
        low = show_temperature(self.lowest_mc, digits=1)
        if self.lowest_mc >= limit.mc - ROUNDING_MC:
            return f"lowest core {low}, at or above {shown} throughout"
        times = "once" if self.dips <= 1 else f"{self.dips} times"
        return (
            f"at or above {shown} but for dips to {low}, {times}, each shorter than the "
            f"{show_duration(self.delay_ms)} that count as below it"
        )
