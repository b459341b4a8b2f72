"""Come-up: total time between 50 and 130 F while heating.

The guideline's tables hold only within its limit. For intact cuts the surface may be used;
for injected, tenderised or ground product the centre must be. Whole brisket is listed as a
scientific gap: warned of, never passed or failed.

Source: FSIS-GD-2021, Cooking Guideline (Revised Appendix A), pp. 24 and 25.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitlogger.clock import rfc3339
from pitlogger.model.cooks import ON_PIT
from pitlogger.model.quantities import show_duration, show_temperature
from pitlogger.safety.history import (
    PieceHistory,
    Point,
    hole_words,
    longest_hole,
    longest_hole_ms,
    within,
)
from pitlogger.safety.policy import Policy
from pitlogger.safety.segments import time_between_ms
from pitlogger.safety.verdict import NEVER_JUDGED, NO_PROBE, Verdict, not_concerned

_GAP_FAMILIES = frozenset({"brisket"})


@dataclass(slots=True)
class ComeUpClock:
    """Adds up time in the window while heating; plain values, so it can be stored.

    Stop feeding it once lethality is met: only a full lethality step starts it anew.
    """

    low_mc: int
    high_mc: int
    limit_ms: int
    took_ms: float = 0.0
    top_mc: int | None = None
    first_mc: int | None = None
    last_ms: int | None = None
    last_mc: int = 0

    def update(self, t_ms: int, core_mc: int, whole: bool = True) -> None:
        """Take one reading of the coldest valid core, or of the surface of an intact cut.

        A hole counts in full where both of its ends lie in the window: the least
        favourable case. What is read while another core is silent (not ``whole``) does not
        show that the piece came through.
        """
        if self.last_ms is not None:
            self.took_ms += time_between_ms(
                self.last_ms, self.last_mc, t_ms, core_mc, self.low_mc, self.high_mc
            )
        if self.first_mc is None:
            self.first_mc = core_mc
        if whole and (self.top_mc is None or core_mc > self.top_mc):
            self.top_mc = core_mc
        self.last_ms, self.last_mc = t_ms, core_mc

    @property
    def is_slow(self) -> bool:
        return self.took_ms > self.limit_ms

    @property
    def is_through(self) -> bool:
        return self.top_mc is not None and self.top_mc >= self.high_mc


def come_up_clock(policy: Policy) -> ComeUpClock:
    """Return a clock for the come-up, to be fed while the piece is on the pit."""
    return ComeUpClock(policy.come_up_low.mc, policy.come_up_high.mc, policy.come_up.ms)


def come_up(
    history: PieceHistory, points: list[Point], policy: Policy, lethal_ms: int | None = None
) -> Verdict:
    """Judge the come-up, up to ``lethal_ms``, when lethality was met.

    Under ``come_up_verdict = "warn"`` the verdict is always ``None`` and the reason says
    how long it took.
    """
    source = policy.cite(policy.come_up)
    spans = history.during(ON_PIT)
    if not history.spans and not history.parents:
        spans = [(points[0].t_ms, history.end_ms)] if points else []
    if not spans:
        return not_concerned(source, "never on the pit")
    followed, what = _followed(history, points)
    if not followed:
        return Verdict(True, None, source, NO_PROBE)
    clock = come_up_clock(policy)
    end_ms = spans[-1][1] if lethal_ms is None else min(lethal_ms, spans[-1][1])
    for from_ms, to_ms in spans:
        clock.last_ms = None
        for point in within(followed, from_ms, min(to_ms, end_ms)):
            clock.update(point.t_ms, point.low_mc, point.whole)
    told = _told(clock, what, policy)
    if policy.come_up_verdict.value == "warn":
        return Verdict(True, None, source, f"{told}: {NEVER_JUDGED}")
    if clock.is_slow and history.family in _GAP_FAMILIES and history.prepared == "intact":
        return Verdict(True, None, source, f"{told}: a whole brisket is a listed scientific gap")
    if clock.is_slow:
        return Verdict(True, False, source, told)
    reason = _not_shown(history, followed, policy, clock, (spans[0][0], end_ms))
    return Verdict(True, None if reason else True, source, f"{told}{reason}")


def _followed(history: PieceHistory, points: list[Point]) -> tuple[list[Point], str]:
    """Return the curve the clock follows: the surface of an intact cut where one is read."""
    surfaces = [series.points for series in history.surface if series.points]
    if history.prepared == "intact" and history.family != "sausage" and surfaces:
        return [Point(t_ms, mc, mc) for t_ms, mc in surfaces[0]], "surface"
    return points, "coldest core"


def _told(clock: ComeUpClock, what: str, policy: Policy) -> str:
    low, high = show_temperature(clock.low_mc), show_temperature(clock.high_mc)
    took = show_duration(clock.took_ms)
    limit = show_duration(policy.come_up.ms)
    told = (
        f"surface {took} between {low} and {high}, guideline {limit}"
        if what == "surface"
        else f"coldest core {took} between {low} and {high}, guideline {limit}"
    )
    if clock.first_mc is not None and clock.first_mc > clock.low_mc:
        first = show_temperature(clock.first_mc)
        told += f" (first reading at {first}: the time before is missing)"
    return told


def _not_shown(
    history: PieceHistory,
    points: list[Point],
    policy: Policy,
    clock: ComeUpClock,
    span: tuple[int, int],
) -> str:
    if moved := history.moved_within(*span):
        return f"; a probe was moved at {rfc3339(moved[0])}: not shown"
    hole = longest_hole(history, *span, policy.max_gap.ms, policy.settle.ms)
    if hole is not None:
        return f"; {hole_words(hole, policy.max_gap.ms)}"
    hole_ms = longest_hole_ms(points, *span)
    if hole_ms > policy.max_gap.ms:
        return f"; no reading for {show_duration(hole_ms)}: not shown"
    return "" if clock.is_through else "; not through the window when the record ends: not shown"
