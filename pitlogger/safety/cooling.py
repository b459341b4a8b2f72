"""Cooling: how long a piece took from each mark to the next, against the policy's limits.

The slowest part decides, so the warmest valid core is followed. Every crossing is kept as
an earliest and a latest time: equal where two near readings show it, apart where it lies
in a hole of the record.

Sources: FDA Food Code 3-501.14(A); FSIS Appendix B (June 1999), items 1 and 2.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from math import inf
from typing import Any

from pitlogger.model.cooks import HOT_OFF_PIT, ON_PIT, Stage
from pitlogger.model.quantities import milli_c_from_fahrenheit, show_duration, show_temperature
from pitlogger.safety import shipped
from pitlogger.safety.history import (
    PieceHistory,
    Point,
    ProbeSeries,
    credited,
    hole_words,
    longest_hole,
    standing_in,
    within,
)
from pitlogger.safety.lethality import unlike_meat
from pitlogger.safety.phases import is_unmarked
from pitlogger.safety.policy import Policy
from pitlogger.safety.segments import crossing_ms
from pitlogger.safety.tables import ROUNDING_MC
from pitlogger.safety.verdict import NO_PROBE, Verdict, in_words, not_concerned, worst

COOLING = (Stage.COOLING, Stage.CHILLED)


@dataclass(frozen=True, slots=True)
class CoolingStep:
    """From one temperature down to another within a time."""

    from_mc: int
    to_mc: int
    limit_ms: int
    source: str


@dataclass(frozen=True, slots=True)
class StageVerdict:
    """What a record shows about one step; ``took_s`` is ``None`` where it is not shown."""

    step: CoolingStep
    took_s: float | None
    met: bool | None

    def document(self) -> dict[str, Any]:
        return {
            "from_c": self.step.from_mc / 1000,
            "to_c": self.step.to_mc / 1000,
            "limit_s": self.step.limit_ms / 1000,
            "took_s": None if self.took_s is None else round(self.took_s, 1),
            "met": self.met,
            "source": self.step.source,
        }


@dataclass(frozen=True, slots=True)
class Cooling:
    """The verdict and that of each step, in order."""

    verdict: Verdict
    stages: tuple[StageVerdict, ...]

    def document(self) -> dict[str, Any]:
        staged = {
            f"stage_{number}": stage.document() for number, stage in enumerate(self.stages, start=1)
        }
        return self.verdict.document() | staged


def steps_of(policy: Policy) -> tuple[CoolingStep, ...]:
    """Return the steps that decide under a policy."""
    middle = policy.cooling_stage_2_from.value == "middle"
    second_from = policy.cooling_middle if middle else policy.cooling_start
    return (
        CoolingStep(policy.cooling_start.mc, policy.cooling_middle.mc, policy.cooling_stage_1.ms,
             policy.cite(policy.cooling_stage_1)),
        CoolingStep(second_from.mc, policy.cooling_end.mc, policy.cooling_stage_2.ms,
             policy.cite(policy.cooling_stage_2)),
    )  # fmt: skip


@cache
def steps_named(scheme: str) -> tuple[CoolingStep, ...]:
    """Return the steps of a published scheme, such as ``fsis-option-2``."""
    return tuple(
        CoolingStep(
            milli_c_from_fahrenheit(float(row["from_f"])),
            milli_c_from_fahrenheit(float(row["to_f"])),
            int(row["limit_s"]) * 1000,
            row["source"] + (", from memory" if row["mark"] == "memory" else ""),
        )
        for row in shipped.rows("cooling_schemes.csv")
        if row["scheme"] == scheme
    )


@dataclass(slots=True)
class CoolingClock:
    """Follows a piece down through its marks; plain values, so it can be stored.

    Feed it the warmest valid core from the time the piece is off the pit, and set
    ``is_cooling`` when the piece is being cooled: until then a return to the first mark
    starts it anew, from then on nothing does.

    Attributes:
        marks_mc: The start, then the end of each step, falling.
        early_ms, late_ms: Bounds of each mark's crossing; ``None`` while it is not known.
        holes: Whether a hole in the record lies between the start and each mark.
    """

    marks_mc: list[int]
    max_gap_ms: int
    is_cooling: bool = False
    early_ms: list[float | None] = field(default_factory=list)
    late_ms: list[float | None] = field(default_factory=list)
    holes: list[bool] = field(default_factory=list)
    has_hole: bool = False
    last_ms: int | None = None
    last_mc: int = 0

    def __post_init__(self) -> None:
        if not self.late_ms:
            self._restart()

    def update(self, t_ms: int, core_mc: int) -> None:
        """Take one reading; work is done only when a mark is crossed."""
        if not self.is_cooling and core_mc >= self.marks_mc[0] - ROUNDING_MC:
            if self.late_ms[0] is not None:
                self._restart()
        elif self.late_ms[-1] is None:
            self._follow(t_ms, core_mc)
        self.last_ms, self.last_mc = t_ms, core_mc

    @property
    def started_ms(self) -> float | None:
        """When it began, the earliest that can be: the least favourable case."""
        return self.late_ms[0] if self.early_ms[0] is None else self.early_ms[0]

    def ends_s(self, steps: tuple[CoolingStep, ...]) -> tuple[tuple[float, float], ...]:
        """Return where each step ends, degC, and by when, seconds after the first mark.

        Infinite where a step begins at a mark that was not passed yet.
        """
        started_ms = self.started_ms or 0.0
        found = []
        for step in steps:
            early_ms, late_ms = self._bounds(step)[0]
            begun_ms = late_ms if early_ms is None else early_ms
            by_s = inf if begun_ms is None else (begun_ms - started_ms + step.limit_ms) / 1000
            found.append((step.to_mc / 1000, by_s))
        return tuple(found)

    def remaining_s(self, step: CoolingStep, now_ms: int) -> float | None:
        """Return the time left for a step, below zero when it is late; ``None`` if not running."""
        begun, done = self._bounds(step)
        if begun[1] is None or done[1] is not None:
            return None
        since_ms = begun[1] if begun[0] is None else begun[0]
        return (step.limit_ms - (now_ms - since_ms)) / 1000

    def judge(self, step: CoolingStep, hand_only: bool = False) -> StageVerdict:
        """Return what has been shown about a step so far.

        With ``hand_only`` the piece was read by hand alone: two readings prove what lies
        between, and a hole is no fault of the record.
        """
        (start_early, start_late), (end_early, end_late) = self._bounds(step)
        if start_late is None:
            return StageVerdict(step, None, None)
        if end_late is None:
            late = self.last_ms is not None and self.last_ms - start_late > step.limit_ms
            return StageVerdict(step, None, False if late else None)
        if end_early is not None and round(end_early - start_late) > step.limit_ms:
            return StageVerdict(step, (end_late - start_late) / 1000, False)
        met: bool | None = None
        took_s = None
        if start_early is not None and end_early is not None:
            if start_early == start_late and end_early == end_late:
                took_s = (end_late - start_early) / 1000
            proven = hand_only or not self.holes[self._index(step.to_mc)]
            if proven and round(end_late - start_early) <= step.limit_ms:
                met = True
        return StageVerdict(step, took_s, met)

    def _restart(self) -> None:
        size = len(self.marks_mc)
        self.early_ms = [None] * size
        self.late_ms = [None] * size
        self.holes = [False] * size
        self.has_hole = False

    def _follow(self, t_ms: int, core_mc: int) -> None:
        start_mc = self.marks_mc[0] - ROUNDING_MC
        fell_here = self.last_ms is not None and self.last_mc >= start_mc > core_mc
        if self.late_ms[0] is None and not (self.is_cooling or fell_here):
            return  # cold because it is not hot yet
        is_hole = self.last_ms is not None and t_ms - self.last_ms > self.max_gap_ms
        if is_hole and (self.late_ms[0] is not None or fell_here):
            self.has_hole = True
        for index, mark_mc in enumerate(self.marks_mc):
            if self.late_ms[index] is not None:
                continue
            if core_mc > mark_mc + (ROUNDING_MC if index else -ROUNDING_MC - 1):
                return
            self.early_ms[index], self.late_ms[index] = self._crossing(t_ms, core_mc, mark_mc)
            self.holes[index] = self.has_hole

    def _crossing(self, t_ms: int, core_mc: int, mark_mc: int) -> tuple[float | None, float]:
        if self.last_ms is None or self.last_mc < mark_mc - ROUNDING_MC:
            return None, float(t_ms)
        if t_ms - self.last_ms > self.max_gap_ms:
            return float(self.last_ms), float(t_ms)
        at_ms = crossing_ms(self.last_ms, self.last_mc, t_ms, core_mc, mark_mc)
        return at_ms, at_ms

    def _index(self, mark_mc: int) -> int:
        return self.marks_mc.index(mark_mc)

    def _bounds(
        self, step: CoolingStep
    ) -> tuple[tuple[float | None, float | None], tuple[float | None, float | None]]:
        begin, end = self._index(step.from_mc), self._index(step.to_mc)
        return (
            (self.early_ms[begin], self.late_ms[begin]),
            (self.early_ms[end], self.late_ms[end]),
        )


def cooling_clock(steps: tuple[CoolingStep, ...], max_gap_ms: int) -> CoolingClock:
    """Return a clock for steps that begin at the first one's start."""
    return CoolingClock([steps[0].from_mc, *(step.to_mc for step in steps)], max_gap_ms)


def cooling(
    history: PieceHistory,
    points: list[Point],
    policy: Policy,
    steps: tuple[CoolingStep, ...] | None = None,
    cooked_ms: int | None = None,
) -> Cooling:
    """Judge every time a piece was cooled; the least favourable one is reported.

    Args:
        cooked_ms: When its cooking limit was met: a fall from then on is judged though
            nobody marked that it was taken off the pit or cooled.
    """
    steps = steps or steps_of(policy)
    source = steps[0].source
    unknown = tuple(StageVerdict(step, None, None) for step in steps)
    periods: list[tuple[int, int] | None] = [*history.during(COOLING)]
    since_ms = cooked_ms if history.spans else 0
    if not periods and is_unmarked(history) and _fell(points, steps[0].from_mc, since_ms):
        periods = [None]
    if not periods:
        return Cooling(not_concerned(source, "not cooled: no cooling stage was set"), unknown)
    if not history.has_values:
        return Cooling(Verdict(True, None, source, NO_PROBE), unknown)
    judged = [_judge(history, points, steps, policy, period, since_ms or 0) for period in periods]
    return next((c for m in (False, None) for c in judged if c.verdict.met is m), judged[-1])


def _fell(points: list[Point], start_mc: int, since_ms: int | None) -> bool:
    """Return whether a record ends on its way down from the start."""
    if since_ms is None or not points:
        return False
    hot = any(point.t_ms >= since_ms and point.high_mc >= start_mc for point in points)
    return hot and points[-1].high_mc < start_mc - ROUNDING_MC


def _judge(
    history: PieceHistory,
    points: list[Point],
    steps: tuple[CoolingStep, ...],
    policy: Policy,
    period: tuple[int, int] | None,
    cooked_ms: int,
) -> Cooling:
    from_ms, to_ms = period or (history.end_ms + 1, history.end_ms)
    hot_ms = _hot_since_ms(history, from_ms)
    since_ms = max(cooked_ms, hot_ms) if period is None else hot_ms
    fed = within(points, since_ms, to_ms)
    clock = _followed(fed, steps, policy, from_ms)
    started_ms = clock.started_ms
    # Where a probe sat in it and was taken out, its silence is a hole like any other.
    hand_only = not any(series.points for series in history.cores) and all(
        point.hand for point in fed if started_ms and point.t_ms >= started_ms
    )
    stages = tuple(clock.judge(step, hand_only) for step in steps)
    each, missing = _each_probe(history, steps, policy, (since_ms, from_ms, to_ms), hand_only)
    stages = tuple(
        _least([stage, *(own[number] for own in each)]) for number, stage in enumerate(stages)
    )
    met = worst([stage.met for stage in stages])
    until_ms = to_ms if clock.late_ms[-1] is None else clock.late_ms[-1]
    doubt = unlike_meat(history, fed, round(started_ms or from_ms), round(until_ms))
    if doubt and met is not False:
        stages = tuple(replace(stage, met=None) for stage in stages)
        reason = f"{doubt}: not shown"
        return Cooling(Verdict(True, None, steps[0].source, reason), stages)
    reason = _reason(clock, stages, fed)
    if met is None and missing:
        reason += f"; {missing}"
    if period is None:
        reason += "; no mark says that it was taken off the pit or cooled"
    return Cooling(Verdict(True, met, steps[0].source, reason), stages)


def _least(found: list[StageVerdict]) -> StageVerdict:
    """Return the least favourable verdict, with the time that it rests on."""
    met = worst([stage.met for stage in found])
    return next(stage for stage in found if stage.met is met)


def _followed(
    fed: Sequence[Point], steps: tuple[CoolingStep, ...], policy: Policy, cooled_ms: int
) -> CoolingClock:
    clock = cooling_clock(steps, policy.max_gap.ms)
    for point in fed:
        clock.is_cooling = clock.is_cooling or point.t_ms >= cooled_ms
        clock.update(point.t_ms, point.high_mc)
    return clock


def _each_probe(
    history: PieceHistory,
    steps: tuple[CoolingStep, ...],
    policy: Policy,
    when: tuple[int, int, int],
    hand_only: bool,
) -> tuple[list[tuple[StageVerdict, ...]], str]:
    """Return what each probe that counts shows by itself, and which one shows too little."""
    since_ms, cooled_ms, to_ms = when
    found: list[tuple[StageVerdict, ...]] = []
    missing = ""
    counting = history.counting()
    alone = len(counting) < 2 and not history.spots
    if alone and not any(core.doubts for core in counting):
        return [], ""
    for core in counting:
        points = standing_in(
            credited(history, core, policy.settle.ms), history.spots, policy.max_gap.ms
        )
        own = [Point(t_ms, mc, mc) for t_ms, mc in points if since_ms <= t_ms <= to_ms]
        clock = _followed(own, steps, policy, cooled_ms)
        found.append(tuple(clock.judge(step, hand_only) for step in steps))
        if not missing and worst([stage.met for stage in found[-1]]) is None:
            last = own[-1].t_ms if own else since_ms
            missing = _missing(history, core, last, policy)
    return found, missing


def _missing(history: PieceHistory, core: ProbeSeries, last_ms: int, policy: Policy) -> str:
    to_ms = core.doubts[-1].to_ms if core.doubts else history.end_ms
    hole = longest_hole(
        replace(history, cores=(core,)), last_ms, max(last_ms, min(to_ms, history.end_ms)),
        policy.max_gap.ms, policy.settle.ms,
    )  # fmt: skip
    if hole is not None:
        return hole_words(hole, policy.max_gap.ms)
    return f"{core.channel} does not show it by itself: not shown"


def _hot_since_ms(history: PieceHistory, cooled_ms: int) -> int:
    """Return when the piece was last put on heat before it was cooled."""
    spans = history.during(ON_PIT | {Stage.REHEATING}) or history.during(HOT_OFF_PIT)
    return max((from_ms for from_ms, _ in spans if from_ms <= cooled_ms), default=0)


def _reason(clock: CoolingClock, stages: tuple[StageVerdict, ...], fed: Sequence[Point]) -> str:
    if not fed:
        return "no reading while it was cooled: not shown"
    if clock.late_ms[0] is None:
        return f"still at or above {show_temperature(clock.marks_mc[0])} when the record ends"
    if clock.early_ms[0] is None:
        start = show_temperature(clock.marks_mc[0])
        return f"its fall through {start} is not on record: not shown"
    told = []
    for stage in stages:
        ends = show_temperature(stage.step.from_mc), show_temperature(stage.step.to_mc)
        limit = show_duration(stage.step.limit_ms)
        took = "" if stage.took_s is None else f" took {show_duration(stage.took_s * 1000)},"
        told.append(f"{ends[0]} to {ends[1]}{took} limit {limit}: {in_words(stage.met)}")
    hole = " (a hole in the record)" if clock.has_hole else ""
    return "; ".join(told) + hole
