"""Lethality: time at or above the rows of a table, with the integral beside it as support.

For each row the time is added up during which the lowest valid core is at or above the
row's temperature; one row reached meets the table. Rows are never mixed and probes never
averaged. A rise after the piece is off the pit counts.

Sources: FDA Food Code 3-401.11; FSIS-GD-2021 (Revised Appendix A), Tables 2 to 4, pp. 22
and 68; the general method, L = 10^((T - Tref)/z), with D at 150 F = 0.172 min and z = 10 F
from a published worked example.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from pitlogger.clock import rfc3339
from pitlogger.model.cooks import HOT_OFF_PIT, ON_PIT, Stage
from pitlogger.model.quantities import fahrenheit, show_duration, show_temperature
from pitlogger.safety.history import (
    PieceHistory,
    Point,
    ProbeSeries,
    credited,
    curve,
    hole_words,
    longest_hole,
    within,
)
from pitlogger.safety.instruments.belief import jumped_from, rate_in, rate_mc_per_min
from pitlogger.safety.policy import Choice, Policy
from pitlogger.safety.segments import time_above_ms
from pitlogger.safety.tables import HoldRow, HoldTable, hold_table
from pitlogger.safety.verdict import NO_PROBE, Verdict

REFERENCE_F = 150.0
Z_F = 10.0
D_MIN = 0.172
FELL_MC = 5_000
ONCE_APART_MS = 15_000  # FDA Food Code before 2017: 165 F for 15 s; here between two readings


def lethal_rate(temp_f: float, reference_f: float = REFERENCE_F, z_f: float = Z_F) -> float:
    """Return minutes at the reference that one minute at ``temp_f`` is worth."""
    return float(10.0 ** ((temp_f - reference_f) / z_f))


@dataclass(slots=True)
class LethalityClock:
    """Adds up time at or above each row; plain values, so it can be stored.

    Attributes:
        rows_mc: Row temperatures, rising.
        needed_s: Time each row asks for.
        spent_ms: By number of rows reached, the time spent on straight lines wholly so high.
        part_ms: By row, the time above it on lines that cross it.
        worth_min: Minutes at the reference temperature, by the trapezoid rule.
        once_since_ms: Since when each reading reached the first row that asks no time.
        once_how: What shows that it was reached, empty while nothing does.
        once_sure_ms: When it was shown at once; a lower reading right after takes that back.
        has_hole: All cores were not heard together for too long: it may have been met unseen.
    """

    rows_mc: list[int]
    needed_s: list[float]
    max_gap_ms: int
    spent_ms: list[float] = field(default_factory=list)
    part_ms: list[float] = field(default_factory=list)
    reached: list[bool] = field(default_factory=list)
    worth_min: float = 0.0
    once_since_ms: int | None = None
    once_how: str = ""
    once_sure_ms: int | None = None
    met_ms: int | None = None
    last_ms: int | None = None
    last_mc: int = 0
    whole_ms: int | None = None
    has_hole: bool = False

    def __post_init__(self) -> None:
        if not self.spent_ms:
            self.spent_ms = [0.0] * (len(self.rows_mc) + 1)
            self.part_ms = [0.0] * len(self.rows_mc)
            self.reached = [False] * len(self.rows_mc)

    def update(self, t_ms: int, core_mc: int, sure: bool = False, whole: bool = True) -> None:
        """Take one reading of the lowest valid core.

        Args:
            sure: Two probes read it, or a checked thermometer by hand.
            whole: No probe that counts was silent; else nothing is credited.
        """
        if not whole:
            self.last_ms = self.once_since_ms = None
            return
        self.has_hole |= self.whole_ms is not None and t_ms - self.whole_ms > self.max_gap_ms
        self.whole_ms = t_ms
        for row in range(bisect_right(self.rows_mc, core_mc)):
            self.reached[row] = True
        self._once(t_ms, core_mc, sure)
        if self.last_ms is not None and t_ms - self.last_ms <= self.max_gap_ms:
            self._add(self.last_ms, self.last_mc, t_ms, core_mc)
        if self.met_ms is None and core_mc >= self.rows_mc[0] and self.best() is not None:
            self.met_ms = t_ms
        self.last_ms, self.last_mc = t_ms, core_mc

    def _once(self, t_ms: int, core_mc: int, sure: bool) -> None:
        """Follow the first row that asks no time: one reading alone does not show it."""
        if 0.0 not in self.needed_s:
            return
        if core_mc < self.rows_mc[self.needed_s.index(0.0)]:
            if self.once_sure_ms is not None and t_ms - self.once_sure_ms < ONCE_APART_MS:
                self.once_how = ""  # one reading of a noisy probe, whatever the others read
                self.met_ms = None if self.best() is None else self.met_ms
            self.once_since_ms = self.once_sure_ms = None
            return
        is_gap = self.last_ms is not None and t_ms - self.last_ms > self.max_gap_ms
        if self.once_since_ms is None or is_gap:
            self.once_since_ms = t_ms
        if not self.once_how and t_ms - self.once_since_ms >= ONCE_APART_MS:
            self.once_how = "readings at least 15 s apart"
        elif not self.once_how and sure:
            self.once_how = "two probes, or a hand reading by a checked thermometer"
            self.once_sure_ms = t_ms

    def had_s(self) -> list[float]:
        """Return the time at or above each row so far, seconds."""
        had, above = [0.0] * len(self.rows_mc), 0.0
        for row in reversed(range(len(self.rows_mc))):
            above += self.spent_ms[row + 1]
            had[row] = (above + self.part_ms[row]) / 1000
        return had

    def best(self) -> int | None:
        """Return the hottest row reached; of rows that ask no time, the first. None if none."""
        found = None
        for row, had in enumerate(self.had_s()):
            if self.needed_s[row] == 0:
                return row if self.once_how else found
            if self.reached[row] and had + 1e-6 >= self.needed_s[row]:
                found = row
        return found

    def nearest(self) -> int:
        """Return the row that came nearest to its time; the lowest where none was reached."""
        had = self.had_s()
        shares = [
            had[row] / needed if needed else float(self.reached[row])
            for row, needed in enumerate(self.needed_s)
        ]
        return max(range(len(shares)), key=lambda row: shares[row])

    def log10(self, d_min: float = D_MIN) -> float:
        """Return the reduction the integral gives, log10."""
        return self.worth_min / d_min

    def _add(self, t0_ms: int, v0_mc: int, t1_ms: int, v1_mc: int) -> None:
        rates = lethal_rate(fahrenheit(v0_mc)) + lethal_rate(fahrenheit(v1_mc))
        self.worth_min += rates / 2 * (t1_ms - t0_ms) / 60_000
        low, high = (v0_mc, v1_mc) if v0_mc < v1_mc else (v1_mc, v0_mc)
        wholly = bisect_right(self.rows_mc, low)
        self.spent_ms[wholly] += t1_ms - t0_ms
        for row in range(wholly, bisect_left(self.rows_mc, high + 1)):
            self.part_ms[row] += time_above_ms(t0_ms, v0_mc, t1_ms, v1_mc, self.rows_mc[row])


def lethality_clock(table: HoldTable, max_gap_ms: int) -> LethalityClock:
    """Return a clock for a table, to be fed the coldest valid core from the fire on."""
    return LethalityClock(
        [row.limit_mc for row in table.rows], [row.seconds for row in table.rows], max_gap_ms
    )


@dataclass(frozen=True, slots=True)
class Lethality:
    """The verdict, the row that met the table or came nearest, and the integral."""

    verdict: Verdict
    table: str
    row: HoldRow | None = None
    had_s: float | None = None
    log10: float | None = None
    margin: str | None = None
    met_ms: int | None = None

    def document(self) -> dict[str, Any]:
        return self.verdict.document() | {
            "table": self.table,
            "row_f": self.row.temp_f if self.row else None,
            "needed_s": self.row.seconds if self.row else None,
            "had_s": None if self.had_s is None else round(self.had_s, 1),
            "log10": None if self.log10 is None else round(self.log10, 3),
            "margin": self.margin,
        }


def table_choice(history: PieceHistory, policy: Policy) -> Choice:
    """Return which of a policy's tables a piece is cooked to, by what it is.

    Sausage is ground whatever its preparation says.
    """
    if history.prepared == "stuffed":
        return policy.cook_stuffed
    if history.is_poultry:
        return policy.cook_poultry
    if history.family == "sausage" or history.prepared == "ground":
        return policy.cook_ground
    choices = {"injected": policy.cook_injected, "tenderised": policy.cook_tenderised}
    return choices.get(history.prepared, policy.cook_intact)


def table_for(history: PieceHistory, policy: Policy) -> HoldTable:
    """Return the table a piece is judged by."""
    return hold_table(table_choice(history, policy).value, history.family, history.fat_pct)


def cooked_span(history: PieceHistory) -> tuple[int, int] | None:
    """Return the time that counts as cooking: from the fire until cooled, served or gone.

    The whole record where no stage was ever set; ``None`` for a piece that was not cooked.
    """
    if not history.spans:
        return None if history.parents else (0, history.end_ms)
    on_pit = history.during(ON_PIT)
    off_pit = history.during(HOT_OFF_PIT)
    if not on_pit and (history.parents or not off_pit):
        return None
    from_ms = on_pit[0][0] if on_pit else 0
    done = (Stage.COOLING, Stage.CHILLED, Stage.SERVED, Stage.DISCARDED, Stage.REHEATING)
    last_ms = (on_pit or off_pit)[-1][0]
    ends = [begin for begin, _ in history.during(done) if begin >= last_ms]
    return from_ms, min(ends, default=history.end_ms)


def lethality(history: PieceHistory, points: list[Point], policy: Policy) -> Lethality:
    """Judge whether the coldest core was hot enough for long enough."""
    table = table_for(history, policy)
    source = f"{table.source}; {policy.cite(table_choice(history, policy))}"
    span = cooked_span(history)
    if span is None:
        parents = ", ".join(history.parents)
        where = f"cooked as {parents}: judged there, not here" if parents else "not on the pit yet"
        return Lethality(Verdict(False, None, source, where), table.id)
    excused = shown_by_themselves(history, table, policy)
    if excused:
        points = curve(history, policy.max_gap.ms, policy.settle.ms, excused)
    fed = within(points, *span)
    if not fed:
        reason = NO_PROBE if not history.has_values else "no reading while it was cooked: not shown"
        return Lethality(Verdict(True, None, source, reason), table.id)
    whole = _run(table, policy, list(fed), history)
    parts = _between_moves(history, list(fed), span)
    runs = [whole] if len(parts) == 1 else [_run(table, policy, part, history) for part in parts]
    shown = next((run for run in runs if run.best() is not None), None)
    if shown is not None and _integral_agrees(whole, table, policy):
        return _met(shown, whole, table, source, policy)
    from_ms = span[0] if history.spans else fed[0].t_ms
    hole = longest_hole(history, from_ms, span[1], policy.max_gap.ms, policy.settle.ms, excused)
    if len(parts) > 1:
        moved = rfc3339(history.moved_within(*span)[0])
        met, why = (
            None,
            f"no row reached between moves of the probe, the first at {moved}: not shown",
        )
    elif _read_once(whole, fed):
        met, why = (
            None,
            (
                "an instantaneous limit was read once: it needs readings at least 15 s apart, two "
                "probes, or a hand reading by a checked thermometer: not shown"
            ),
        )
    elif hole is not None:
        met, why = None, hole_words(hole, policy.max_gap.ms)
    elif history.spans and not history.during(ON_PIT):
        met, why = None, "its time on the pit is not on record: not shown"
    else:
        met, why = False, "no row of the table was reached" + _fell(fed)
    return _unmet(whole, table, Verdict(True, met, source, why))


def shown_by_themselves(history: PieceHistory, table: HoldTable, policy: Policy) -> frozenset[str]:
    """Return the channels that were taken out after they had reached a row themselves."""
    return frozenset(
        core.channel
        for core in history.counting()
        if core.to_ms is not None and _alone(history, core, table, policy).best() is not None
    )


def _alone(
    history: PieceHistory, core: ProbeSeries, table: HoldTable, policy: Policy
) -> LethalityClock:
    clock = lethality_clock(table, policy.max_gap.ms)
    for t_ms, value_mc in credited(history, core, policy.settle.ms):
        clock.update(t_ms, value_mc)
    return clock


def _run(
    table: HoldTable, policy: Policy, points: list[Point], history: PieceHistory
) -> LethalityClock:
    clock = lethality_clock(table, policy.max_gap.ms)
    before: Point | None = None
    for point in points:
        if before is not None and is_unjoined(before, point, history):
            clock.update(point.t_ms, point.low_mc, whole=False)
        clock.update(point.t_ms, point.low_mc, point.sure, point.whole)
        before = point
    return clock


def is_unjoined(before: Point, point: Point, history: PieceHistory) -> bool:
    """Return whether no line joins two hand readings: meat cannot go from one to the other."""
    if not (before.hand and point.hand):
        return False
    rate = rate_in(history.stage_at(point.t_ms), rate_mc_per_min(history.family, None))
    return jumped_from(point[:2], [before[:2]], rate) is not None


def unlike_meat(history: PieceHistory, points: Sequence[Point], from_ms: int, to_ms: int) -> str:
    """Return what between two times is no change of one place in meat, empty where nothing is."""
    if moved := history.moved_within(from_ms, to_ms):
        return f"a probe was moved at {rfc3339(moved[0])}"
    for before, point in pairwise(points):
        if before.t_ms <= to_ms and point.t_ms >= from_ms and is_unjoined(before, point, history):
            return f"meat cannot go to the hand reading at {rfc3339(point.t_ms)} so fast"
    return ""


def _read_once(clock: LethalityClock, fed: Sequence[Point]) -> bool:
    """Return whether the coldest core was at an instantaneous limit, and nothing shows it."""
    if clock.once_how or 0.0 not in clock.needed_s:
        return False
    once_mc = clock.rows_mc[clock.needed_s.index(0.0)]
    return any(point.low_mc >= once_mc for point in fed if point.whole)


def _fell(fed: Sequence[Point]) -> str:
    """Return the words for a piece that cooled before its limit was met: a fire that died."""
    top = max(fed, key=lambda point: point.low_mc)
    if fed[-1].low_mc > top.low_mc - FELL_MC:
        return ""
    read = show_temperature(top.low_mc, digits=1)
    return f"; it fell from {read} at {rfc3339(top.t_ms)}: a heating deviation"


def _between_moves(
    history: PieceHistory, points: list[Point], span: tuple[int, int]
) -> list[list[Point]]:
    """Return the points parted where a probe was moved: one place in the meat each."""
    cuts = [span[0], *history.moved_within(*span), span[1] + 1]
    if len(cuts) == 2:
        return [points]
    return [
        [point for point in points if begin <= point.t_ms < end] for begin, end in pairwise(cuts)
    ]


def _integral_agrees(clock: LethalityClock, table: HoldTable, policy: Policy) -> bool:
    if policy.lethality_by.value == "table" or table.target_log10 is None:
        return True
    return clock.log10() >= table.target_log10


def _met(
    shown: LethalityClock, whole: LethalityClock, table: HoldTable, source: str, policy: Policy
) -> Lethality:
    best = shown.best()
    assert best is not None
    row, had_s = table.rows[best], shown.had_s()[best]
    is_low = row.limit_mc < policy.low_margin.mc - 10
    margin = "low" if is_low else "normal"
    how = f", shown by {shown.once_how}" if row.seconds == 0 else ""
    reason = f"{_row_words(row, had_s)}{how}: limit met"
    if is_low:
        reason += f", with low margin below {show_temperature(policy.low_margin.mc)}"
    return Lethality(
        Verdict(True, True, source, reason), table.id, row, had_s, whole.log10(), margin,
        shown.met_ms,
    )  # fmt: skip


def _unmet(clock: LethalityClock, table: HoldTable, verdict: Verdict) -> Lethality:
    nearest = clock.nearest()
    row, had_s = table.rows[nearest], clock.had_s()[nearest]
    reason = f"{verdict.reason}; nearest row: {_row_words(row, had_s)}"
    told = Verdict(True, verdict.met, verdict.source, reason)
    return Lethality(told, table.id, row, had_s, clock.log10())


def _row_words(row: HoldRow, had_s: float) -> str:
    if row.seconds == 0:
        return f"{row.temp_f:g} F, reached for an instant"
    asked = show_duration(row.seconds * 1000)
    return f"{row.temp_f:g} F, {show_duration(had_s * 1000)} of {asked}"
