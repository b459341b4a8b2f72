"""The clocks of one piece as they run: fed reading by reading, plain values throughout.

The same clocks judge a whole record, so a live alarm and the verdict afterwards agree.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pitlogger.model.cooks import BEFORE_FIRE, HOT_OFF_PIT, ON_PIT, Piece, Stage
from pitlogger.model.quantities import show_duration, show_temperature
from pitlogger.safety.cold import cold_clock
from pitlogger.safety.come_up import ComeUpClock, come_up_clock
from pitlogger.safety.cooling import COOLING, CoolingClock, CoolingStep, cooling_clock, steps_of
from pitlogger.safety.history import PieceHistory, Point, curve
from pitlogger.safety.holding import PERHAPS_COOKED_MC, BreachClock, hold_clock
from pitlogger.safety.lethality import (
    LethalityClock,
    is_unjoined,
    lethality_clock,
    table_for,
)
from pitlogger.safety.out_of_control import OutOfControlClock, out_of_control_clock
from pitlogger.safety.policy import Policy
from pitlogger.safety.reheating import WARMED_MC, ReheatClock, reheat_clock
from pitlogger.safety.tables import ROUNDING_MC
from pitlogger.safety.time_control import TimeClock, time_clock

UNMARKED = "and marked as on the pit: say whether it is held, cooled or served"
_AT_TABLE = frozenset({Stage.SERVING, Stage.CARVED, Stage.SERVED, *COOLING})
_MOMENTS = (
    "since_ms", "breached_ms", "breach_from_ms", "last_ms", "early_ms", "late_ms", "begun_ms",
    "held_since_ms", "done_ms", "met_ms", "known_ms", "warm_ms", "ended_ms",
)  # fmt: skip
_COUNTED = HOT_OFF_PIT | {Stage.SERVED}


@dataclass(frozen=True, slots=True)
class ClockState:
    """What one clock says now: an alert kind, whether it is true, and the time left.

    ``remaining_s`` falls below zero once the limit has passed; ``None`` where the limit is
    no matter of time left.
    """

    kind: str
    is_true: bool
    remaining_s: float | None
    message: str
    source: str


@dataclass(slots=True)
class PieceClocks:
    """All clocks of a piece. ``dataclasses.asdict`` stores it, ``restore`` makes it again."""

    stage: str
    table: str  # its lethality table and source
    hold: BreachClock
    cold: BreachClock
    cooling: CoolingClock
    lethality: LethalityClock
    come_up: ComeUpClock
    out_of_control: OutOfControlClock
    reheat: ReheatClock | None = None
    by_time: TimeClock | None = None
    is_cold: bool = False
    is_hot: bool = False  # cooked, and at the holding limit since: a fall is judged, marked or not

    def enter(self, stage: Stage, t_ms: int, policy: Policy) -> None:
        """Take a change of stage at ``t_ms``."""
        was, self.stage = Stage(self.stage), stage.value
        if stage is was:
            return
        if self.by_time is not None:
            self.by_time.enter(stage, t_ms)
        if stage in ON_PIT | {Stage.REHEATING}:
            self.cooling = cooling_clock(steps_of(policy), policy.max_gap.ms)
        if stage is Stage.REHEATING:
            self.reheat = self._reheat_clock(t_ms, policy)
        if stage in ON_PIT | {Stage.REHEATING}:
            self.is_cold = self.is_hot = False
        if stage in COOLING:
            self.cooling.is_cooling = True
        if stage in HOT_OFF_PIT and was not in HOT_OFF_PIT:
            self.hold = _guarded(hold_clock(policy), policy)
        if stage not in _COUNTED:
            self.out_of_control.pause()

    def update(
        self,
        t_ms: int,
        low_mc: int,
        high_mc: int,
        *,
        by_hand: bool = False,
        whole: bool = True,
        sure: bool = False,
    ) -> None:
        """Take the coldest and the warmest valid core at ``t_ms``; constant time.

        Args:
            by_hand: A hand reading is among them.
            whole: No probe that counts is silent or in doubt; else nothing is credited.
            sure: Two probes read it, or a checked thermometer by hand.
        """
        stage = Stage(self.stage)
        if stage in BEFORE_FIRE:
            return
        if self.by_time is not None and t_ms >= self.by_time.since_ms:
            self.by_time.update(t_ms, high_mc)
            if t_ms > self.by_time.known_ms:
                return  # time is the limit: what is read counts for no other
        if stage in ON_PIT:
            is_back = self.lethality.last_ms is None
            self._heat(t_ms, low_mc, whole, sure)
            self._fall(t_ms, low_mc, high_mc, by_hand, whole, is_back)
            return
        if stage in HOT_OFF_PIT:
            self.lethality.update(t_ms, low_mc, sure, whole)
            self.hold.update(t_ms, low_mc, by_hand)
        if stage in HOT_OFF_PIT or stage in COOLING:
            self.cooling.update(t_ms, high_mc if whole else self._not_cooled(high_mc))
        if stage in _COUNTED:
            self.out_of_control.update(t_ms, low_mc)
        if stage in COOLING:
            self._hold_cold(t_ms, high_mc, whole)
        if self.reheat is not None and stage is Stage.REHEATING:
            self.reheat.update(t_ms, low_mc, high_mc, sure and by_hand, whole)

    def _reheat_clock(self, t_ms: int, policy: Policy) -> ReheatClock:
        """Return a clock from when it left the cold, where it was plainly warm when marked."""
        since_ms = self.cold.since_ms if self.is_cold else None
        if since_ms is None or self.cold.last_mc < policy.reheat_start.mc + WARMED_MC:
            return reheat_clock(t_ms, policy)
        return reheat_clock(since_ms, policy, is_cold=False)

    def _not_cooled(self, high_mc: int) -> int:
        """Return a value that may begin the cooling and ends no step of it."""
        return max(high_mc, self.cooling.marks_mc[1] + 2 * ROUNDING_MC)

    def _heat(self, t_ms: int, low_mc: int, whole: bool, sure: bool) -> None:
        self.lethality.update(t_ms, low_mc, sure, whole)
        if self.lethality.met_ms is None:
            self.come_up.update(t_ms, low_mc)

    def _fall(
        self, t_ms: int, low_mc: int, high_mc: int, by_hand: bool, whole: bool, is_back: bool
    ) -> None:
        """Follow cooked meat that nobody marked as off the pit: its temperature decides.

        Where a core was silent it cannot be shown that it is not cooked: what falls is as if it
        were. A colder core that is back is no fall.
        """
        hot_mc = self.hold.limit_mc - ROUNDING_MC
        if self.lethality.met_ms is None:
            if whole and (is_back or not self.lethality.has_hole):
                self.is_hot = False
                return
            if hot_mc - PERHAPS_COOKED_MC <= low_mc < hot_mc:
                return
        if not self.is_hot and low_mc >= hot_mc:
            self.is_hot = True
        if self.is_hot:
            self.hold.update(t_ms, low_mc, by_hand)
            self.cooling.update(t_ms, high_mc if whole else self._not_cooled(high_mc))

    def _hold_cold(self, t_ms: int, high_mc: int, whole: bool) -> None:
        is_there = whole and high_mc <= self.cold.limit_mc + ROUNDING_MC
        self.is_cold = self.is_cold or is_there
        if self.is_cold:
            self.cold.update(t_ms, high_mc)

    def let_pass(self, ms: int) -> None:
        """Count time of which nothing is known: all that was lies ``ms`` longer ago."""
        for clock in (self.hold, self.cold, self.cooling, self.lethality, self.come_up,
                      self.out_of_control, self.reheat, self.by_time):  # fmt: skip
            for name in _MOMENTS:
                held = getattr(clock, name, None)
                if isinstance(held, list):
                    setattr(clock, name, [None if at is None else at - ms for at in held])
                elif held is not None:
                    setattr(clock, name, held - ms)

    def told(self, now_ms: int, policy: Policy, *, unsaid: bool = False) -> list[ClockState]:
        """Return what each clock that runs says at ``now_ms``.

        Args:
            unsaid: Nobody said that it is off the pit: whether it is held or cooled is not known.
        """
        stage = Stage(self.stage)
        if self.by_time is not None and now_ms >= self.by_time.known_ms:
            is_eaten = stage in _AT_TABLE and self.lethality.last_ms is not None
            lethality = [self._lethality()] if is_eaten else []
            return [*_by_time(self.by_time, now_ms, policy), *lethality]
        found = list(self._cooling(now_ms, policy)) if stage in COOLING else []
        if stage in HOT_OFF_PIT and self.hold.last_ms is not None:
            found.append(self._holding(now_ms, policy))
            if unsaid and found[-1].is_true:
                found += self._cooling(now_ms, policy)
        if stage in ON_PIT and self.is_hot:
            found += self._unmarked(now_ms, policy)
        if stage in ON_PIT and self.come_up.last_ms is not None:
            found.append(self._come_up(policy))
        if stage in _COUNTED and self.out_of_control.spent_ms:
            found.append(self._time_limit(policy))
        if self.is_cold and stage in COOLING:
            found.append(self._cold(now_ms, policy))
        if stage is Stage.REHEATING and self.reheat is not None:
            found.append(self._reheat(self.reheat, now_ms, policy))
        if stage in _AT_TABLE and self.lethality.last_ms is not None:
            found.append(self._lethality())
        return found

    def _cooling(self, now_ms: int, policy: Policy) -> Iterator[ClockState]:
        for number, step in enumerate(steps_of(policy), start=1):
            left_s = self.cooling.remaining_s(step, now_ms)
            late = self.cooling.judge(step).met is False
            if left_s is not None or late:
                kind = f"cooling-stage-{number}-late"
                is_true = late or (left_s is not None and left_s < 0)
                yield ClockState(kind, is_true, left_s, _cooling_words(step, left_s), step.source)

    def _holding(self, now_ms: int, policy: Policy) -> ClockState:
        below_ms = self.hold.beyond_now_ms(now_ms)
        is_true = self.hold.is_in_breach(now_ms)
        shown = show_temperature(self.hold.limit_mc)
        message = f"below {shown} for {show_duration(below_ms)}" if is_true else f"at {shown} or up"
        return ClockState("hot-hold-low", is_true, None, message, policy.cite(policy.hot_hold))

    def _unmarked(self, now_ms: int, policy: Policy) -> Iterator[ClockState]:
        """Tell of cooked meat under the holding limit that is marked as on the pit."""
        told = self._holding(now_ms, policy)
        cooked = "cooked" if self.lethality.met_ms is not None else "perhaps cooked"
        words = f"{told.message}; {cooked}, {UNMARKED}" if told.is_true else told.message
        yield replace(told, message=words)
        if told.is_true:
            yield from self._cooling(now_ms, policy)

    def _come_up(self, policy: Policy) -> ClockState:
        left_s = (self.come_up.limit_ms - self.come_up.took_ms) / 1000
        message = f"{show_duration(self.come_up.took_ms)} between 50 and 130 F"
        source = policy.cite(policy.come_up)
        return ClockState("come-up-slow", self.come_up.is_slow, left_s, message, source)

    def _time_limit(self, policy: Policy) -> ClockState:
        left_s = self.out_of_control.remaining_s()
        message = f"{show_duration(self.out_of_control.spent_ms)} out of temperature control"
        source = policy.cite(policy.out_of_control)
        return ClockState("time-limit", left_s < 0, left_s, message, source)

    def _cold(self, now_ms: int, policy: Policy) -> ClockState:
        above_ms = self.cold.beyond_now_ms(now_ms)
        is_true = self.cold.is_in_breach(now_ms)
        shown = show_temperature(self.cold.limit_mc)
        message = (
            f"above {shown} for {show_duration(above_ms)}" if is_true else f"at {shown} or less"
        )
        return ClockState("cold-hold-high", is_true, None, message, policy.cite(policy.cold_hold))

    def _reheat(self, clock: ReheatClock, now_ms: int, policy: Policy) -> ClockState:
        left_s = clock.remaining_s(now_ms)
        is_true = clock.met() is False or (left_s is not None and left_s < 0)
        goal = show_temperature(clock.goal_mc)
        left = "held" if left_s is None else f"{show_duration(left_s * 1000)} " + _side(left_s)
        source = policy.cite(policy.reheat)
        return ClockState("reheat-late", is_true, left_s, f"to {goal}: {left}", source)

    def _lethality(self) -> ClockState:
        is_true = self.lethality.met_ms is None
        message = "no row of its table was reached" if is_true else "its table was met"
        return ClockState("lethality-not-met", is_true, None, message, self.table)


def _by_time(clock: TimeClock, now_ms: int, policy: Policy) -> Iterator[ClockState]:
    hours = policy.time_control_6h if clock.cap_mc is not None else policy.time_control_4h
    left_s = clock.remaining_s(now_ms)
    is_over = clock.is_over(now_ms)
    message = "eaten or thrown away in time" if left_s is None else "held by time"
    if clock.back:
        message = f"held by time, and {clock.back} since: throw it away"
    elif clock.warm_ms is not None:
        message = f"held by time, and above {show_temperature(clock.cap_mc or 0)}: throw it away"
    elif is_over and left_s is None:
        message = "eaten after its discard time: throw away what is left"
    elif left_s is not None:
        message += f", {show_duration(left_s * 1000)} " + _side(left_s)
    source = policy.cite(hours)
    yield ClockState("discard-due", is_over, left_s, message, source)
    yield ClockState("discard-near", clock.is_near(now_ms), left_s, message, source)


def _side(left_s: float) -> str:
    return "left" if left_s >= 0 else "late"


def _cooling_words(step: CoolingStep, left_s: float | None) -> str:
    goal = show_temperature(step.to_mc)
    if left_s is None:
        return f"{goal} came too late"
    return f"{show_duration(left_s * 1000)} {_side(left_s)} to reach {goal}"


def clocks_for(piece: Piece, policy: Policy, fat_pct: float | None = None) -> PieceClocks:
    """Return the clocks of a piece that has not been on the fire yet."""
    described = PieceHistory(piece.id, piece.cut, piece.family, piece.prepared, fat_pct)
    return _clocks(described, policy)


def _clocks(history: PieceHistory, policy: Policy) -> PieceClocks:
    table = table_for(history, policy)
    return PieceClocks(
        stage=Stage.RAW.value,
        table=f"{table.id}: {table.source}",
        hold=_guarded(hold_clock(policy), policy),
        cold=_guarded(cold_clock(policy), policy),
        cooling=cooling_clock(steps_of(policy), policy.max_gap.ms),
        lethality=lethality_clock(table, policy.max_gap.ms),
        come_up=come_up_clock(policy),
        out_of_control=out_of_control_clock(policy),
    )


def _guarded(clock: BreachClock, policy: Policy) -> BreachClock:
    """Return a clock that tells the guard band before its limit; verdicts keep to the limit.

    Source: FSIS Cooking Guideline p. 20, an alarm at the limit plus the thermometer's accuracy.
    """
    band_mc = -policy.guard_band.mc if clock.above else policy.guard_band.mc
    return replace(clock, limit_mc=clock.limit_mc + band_mc)


def restore(stored: dict[str, Any]) -> PieceClocks:
    """Return clocks from what ``dataclasses.asdict`` made of them.

    A clock of an earlier version that nothing reads any more is passed over.
    """
    kinds = {
        "hold": BreachClock, "cold": BreachClock, "cooling": CoolingClock,
        "lethality": LethalityClock, "come_up": ComeUpClock,
        "out_of_control": OutOfControlClock, "reheat": ReheatClock, "by_time": TimeClock,
    }  # fmt: skip
    return PieceClocks(
        **{
            name: kinds[name](**value) if name in kinds and value is not None else value
            for name, value in stored.items()
            if name in PieceClocks.__slots__
        }
    )


def run(lineage: Sequence[PieceHistory], policy: Policy) -> PieceClocks:
    """Return the clocks after a whole history: for a stage or reading entered later.

    A lethality that doubted values speak against has no credit, as in the verdict.

    Args:
        lineage: The piece, after what it was part of before that was divided.
    """
    clocks = _run(lineage, policy)
    if clocks.lethality.met_ms is not None and any(one.has_doubts() for one in lineage):
        everything = _run([one.with_doubted() for one in lineage], policy)
        if everything.lethality.met_ms is None:
            clocks.lethality = _clocks(lineage[-1], policy).lethality
    return clocks


def _run(lineage: Sequence[PieceHistory], policy: Policy) -> PieceClocks:
    clocks = _clocks(lineage[-1], policy)
    clocks.by_time = time_clock(lineage[-1].by_time, policy)
    for history in lineage:
        _go_through(clocks, history, policy)
    return clocks


def _go_through(clocks: PieceClocks, history: PieceHistory, policy: Policy) -> None:
    spans = [span for span in history.spans if span.from_ms <= history.end_ms]
    spots = set(history.spots)
    before: Point | None = None
    for point in curve(history, policy.max_gap.ms, policy.settle.ms):
        if before is not None and is_unjoined(before, point, history):
            clocks.lethality.update(point.t_ms, point.low_mc, whole=False)
        before = point
        while spans and spans[0].from_ms <= point.t_ms:
            span = spans.pop(0)
            clocks.enter(span.stage, span.from_ms, policy)
        clocks.update(
            point.t_ms, point.low_mc, point.high_mc,
            by_hand=(point.t_ms, point.low_mc) in spots, whole=point.whole, sure=point.sure,
        )  # fmt: skip
    for span in spans:
        clocks.enter(span.stage, span.from_ms, policy)
