"""A piece's history: what every verdict is judged on, and the coldest and warmest curve.

Several probes and hand readings make one curve of the lowest and the highest valid value
at each time. The lowest decides cooking and hot holding, the highest decides cooling and
cold holding: never the mean (FSIS-GD-2021 p. 22), never another piece's probe. A probe that
was in the meat counts until it has itself shown a limit: where it is silent or in doubt for
too long, nothing is shown, whatever the others say. A hand reading stands in for it.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

from pitlogger.clock import rfc3339
from pitlogger.model.book import ByTime, Mark, Span
from pitlogger.model.cooks import BEFORE_FIRE, POULTRY, Stage
from pitlogger.model.quantities import show_duration
from pitlogger.safety.instruments.belief import Doubt, DoubtReason, believed


class Point(NamedTuple):
    """The lowest and highest valid core value at a time.

    ``hand``: by hand alone. ``whole``: no probe that counts was silent or in doubt.
    ``sure``: two of them read it, or a hand reading with a checked thermometer did.
    """

    t_ms: int
    low_mc: int
    high_mc: int
    hand: bool = False
    whole: bool = True
    sure: bool = False


@dataclass(frozen=True, slots=True)
class ProbeSeries:
    """The good readings of one channel while it sat in one place, in order of time.

    ``from_ms``: when it was put there, ``None`` for the beginning; ``to_ms``: when somebody
    took it out or elsewhere. Readings that lie in a doubt are kept and give no credit.
    ``heard``: it sent something, if only that it has no value; a channel that was named and
    never heard is no probe in the meat.
    """

    channel: str
    points: tuple[tuple[int, int], ...]  # t_ms, milli-degC
    from_ms: int | None = None
    to_ms: int | None = None
    doubts: tuple[Doubt, ...] = ()
    heard: bool = True


class Withdrawn(NamedTuple):
    """A hand reading that counts no more: struck, or by a thermometer that failed its check."""

    t_ms: int
    value_mc: int
    words: str
    since_ms: int


class Hole(NamedTuple):
    """A stretch in which a probe that counts has nothing to show."""

    channel: str
    from_ms: int
    to_ms: int
    why: str = ""

    @property
    def ms(self) -> int:
        return self.to_ms - self.from_ms


@dataclass(frozen=True, slots=True)
class PieceHistory:
    """One piece as the record has it.

    Attributes:
        spans: Its stages; empty where none was ever set.
        marks: The same as they were entered; empty where that is not known.
        unsaid: The last of them was recognised, and nobody agreed.
        cores: Core channels; a probe that gave no value leaves a hole, never a guess.
        spots: Hand readings of its core, (t_ms, milli-degC); ``checked`` those of them whose
            thermometer had passed its check, ``late`` when each was typed that was typed late.
        withdrawn: Hand readings that count no more.
        moves: When a core probe was moved, (t_ms, channel).
        by_time: Since when it is held by time instead of temperature.
        fat_pct: Fat share of the meat, percent, if known.
        end_ms: Where the record ends.
    """

    piece: str
    cut: str
    family: str
    prepared: str = "intact"
    fat_pct: float | None = None
    mass_mg: int | None = None
    parents: tuple[str, ...] = ()
    spans: tuple[Span, ...] = ()
    marks: tuple[Mark, ...] = ()
    unsaid: bool = False
    cores: tuple[ProbeSeries, ...] = ()
    spots: tuple[tuple[int, int], ...] = ()
    checked: frozenset[tuple[int, int]] = frozenset()
    late: tuple[tuple[int, int], ...] = ()
    withdrawn: tuple[Withdrawn, ...] = ()
    surface: tuple[ProbeSeries, ...] = ()
    cold: tuple[ProbeSeries, ...] = ()
    pit: tuple[ProbeSeries, ...] = ()
    moves: tuple[tuple[int, str], ...] = ()
    by_time: ByTime | None = None
    end_ms: int = 0

    @property
    def is_poultry(self) -> bool:
        return self.family in POULTRY

    @property
    def has_values(self) -> bool:
        return bool(self.spots) or any(series.points for series in self.cores)

    def during(self, stages: Iterable[Stage]) -> list[tuple[int, int]]:
        """Return the times spent in any of the stages, neighbours joined, (from, to) in ms."""
        wanted = frozenset(stages)
        times: list[tuple[int, int]] = []
        for span in self.spans:
            if span.stage not in wanted:
                continue
            to_ms = self.end_ms if span.to_ms is None else span.to_ms
            if times and times[-1][1] == span.from_ms:
                times[-1] = (times[-1][0], to_ms)
            else:
                times.append((span.from_ms, to_ms))
        return times

    def stage_at(self, t_ms: int) -> Stage:
        """Return the stage at a time, ``raw`` before the first."""
        found = Stage.RAW
        for span in self.spans:
            if span.from_ms <= t_ms:
                found = span.stage
        return found

    def moved_within(self, from_ms: int, to_ms: int) -> list[int]:
        return [t_ms for t_ms, _ in self.moves if from_ms <= t_ms <= to_ms]

    def counting(self) -> list[ProbeSeries]:
        """Return the cores that were in the meat from its first stage after preparation on."""
        begun = [span.from_ms for span in self.spans if span.stage not in BEFORE_FIRE]
        fire_ms = min(begun, default=0)
        return [
            core
            for core in self.cores
            if (core.points or core.heard)
            and (core.to_ms is None or (core.points and core.to_ms > fire_ms))
        ]

    def with_doubted(self) -> PieceHistory:
        """Return the history as if every doubted and withdrawn value were believed.

        What a probe read before it was put into the meat stays out: that says nothing of it.
        """
        return replace(
            self,
            cores=tuple(
                replace(core, doubts=tuple(d for d in core.doubts if d.why is DoubtReason.BEFORE))
                for core in self.cores
            ),
            spots=tuple(sorted((*self.spots, *((w.t_ms, w.value_mc) for w in self.withdrawn)))),
            withdrawn=(),
        )

    def has_doubts(self) -> bool:
        return bool(self.withdrawn) or any(core.doubts for core in self.cores)


def credited(
    history: PieceHistory, core: ProbeSeries, settle_ms: int
) -> tuple[tuple[int, int], ...]:
    """Return the readings of a core that are believed and not near a move of it."""
    points = believed(core.points, core.doubts) if core.doubts else core.points
    mine = [t_ms for t_ms, channel in history.moves if channel == core.channel]
    if not mine:
        return points
    return tuple(
        point for point in points if all(abs(point[0] - t_ms) > settle_ms for t_ms in mine)
    )


def standing_in(
    points: Sequence[tuple[int, int]], spots: Sequence[tuple[int, int]], max_gap_ms: int
) -> Sequence[tuple[int, int]]:
    """Return readings with the hand readings that fall where there are none for too long."""
    if not spots:
        return points
    if not points:
        return spots
    edges = [-(1 << 62), *(t_ms for t_ms, _ in points), 1 << 62]
    taken = []
    for spot in spots:
        at = bisect_right(edges, spot[0])
        if edges[at] - edges[at - 1] > max_gap_ms and spot[0] != edges[at - 1]:
            taken.append(spot)
    return sorted((*points, *taken)) if taken else points


def curve(
    history: PieceHistory,
    max_gap_ms: int,
    settle_ms: int = 0,
    excused: frozenset[str] = frozenset(),
) -> list[Point]:
    """Return the coldest and warmest valid core of a piece over time.

    A probe counts between two of its readings where they are at most ``max_gap_ms`` apart,
    on the straight line between them. Readings within ``settle_ms`` of a moved probe and
    those in doubt are left out. A hand reading counts at its own time, and stands in for a
    probe that is silent.

    Args:
        excused: Channels whose end somebody marked after they had shown what was to be shown.
    """
    counting = history.counting()
    series = [
        standing_in(credited(history, core, settle_ms), history.spots, max_gap_ms)
        for core in counting
    ]
    spots: dict[int, list[int]] = defaultdict(list)
    for t_ms, value_mc in history.spots:
        spots[t_ms].append(value_mc)
    if len(series) == 1 and not spots:
        return [Point(t_ms, value_mc, value_mc) for t_ms, value_mc in series[0]]
    times = sorted(set(spots).union(*({t_ms for t_ms, _ in points} for points in series)))
    columns = [_values_at(times, points, max_gap_ms) for points in series]
    spans = [
        (core.from_ms or 0, core.to_ms if core.channel in excused and core.to_ms else 1 << 62)
        for core in counting
    ]
    merged = []
    for index, t_ms in enumerate(times):
        by_hand = spots.get(t_ms, [])
        probes = [value for column in columns if (value := column[index]) is not None]
        values = probes + by_hand
        if not values:
            continue
        whole = all(
            column[index] is not None or not begun <= t_ms < ended
            for column, (begun, ended) in zip(columns, spans, strict=True)
        )
        alone = bool(by_hand) and all(value in by_hand for value in probes)
        stands_in = any(value in by_hand for value in probes)
        is_checked = any((t_ms, value) in history.checked for value in by_hand)
        sure = is_checked or (not stands_in and len(values) > 1)
        merged.append(Point(t_ms, min(values), max(values), alone, whole, sure))
    return merged


def _values_at(
    times: Sequence[int], points: Sequence[tuple[int, int]], max_gap_ms: int
) -> list[int | None]:
    """Return a channel's value at each time, ``None`` in its holes."""
    values: list[int | None] = []
    at, last = 0, len(points) - 1
    if last < 0:
        return [None] * len(times)
    for t_ms in times:
        while at < last and points[at + 1][0] <= t_ms:
            at += 1
        here_ms, here_mc = points[at]
        if t_ms == here_ms:
            values.append(here_mc)
        elif t_ms < here_ms or at == last or points[at + 1][0] - here_ms > max_gap_ms:
            values.append(None)
        else:
            next_ms, next_mc = points[at + 1]
            share = (t_ms - here_ms) / (next_ms - here_ms)
            values.append(round(here_mc + share * (next_mc - here_mc)))
    return values


def within(points: Sequence[Point], from_ms: int, to_ms: int) -> Sequence[Point]:
    """Return the points from ``from_ms`` to ``to_ms``, both included."""
    first = bisect_left(points, from_ms, key=lambda point: point.t_ms)
    last = bisect_right(points, to_ms, key=lambda point: point.t_ms)
    return points[first:last]


def longest_hole_ms(points: Sequence[Point], from_ms: int, to_ms: int) -> int:
    """Return the longest time without a reading within a span, its edges included."""
    inside = within(points, from_ms, to_ms)
    times = [from_ms, *(point.t_ms for point in inside), to_ms]
    return max(later - earlier for earlier, later in pairwise(times))


def longest_hole(
    history: PieceHistory,
    from_ms: int,
    to_ms: int,
    max_gap_ms: int,
    settle_ms: int = 0,
    excused: frozenset[str] = frozenset(),
) -> Hole | None:
    """Return the longest silence of any probe that counts in a span, ``None`` if none is too long.

    Each probe is looked at by itself, the edges of the span included; hand readings stand in. One
    that was put in beside others counts from then on, the first one for the time before it too.
    """
    found: list[Hole] = []
    cores = history.counting() or [ProbeSeries("", ())]
    first_ms = min(core.from_ms or 0 for core in cores)
    for core in cores:
        begun_ms = max(from_ms, core.from_ms or 0)
        if core.from_ms == first_ms:  # nothing watched it before
            begun_ms = from_ms
        ended_ms = to_ms
        if core.channel in excused and core.to_ms is not None:
            ended_ms = min(to_ms, core.to_ms)
        points = standing_in(credited(history, core, settle_ms), history.spots, max_gap_ms)
        inside = [t_ms for t_ms, _ in points if begun_ms <= t_ms <= ended_ms]
        for earlier, later in pairwise([begun_ms, *inside, ended_ms]):
            if later - earlier > max_gap_ms:
                found.append(Hole(core.channel, earlier, later, _why(core, earlier, later)))
    return max(found, key=lambda hole: hole.ms, default=None)


def _why(core: ProbeSeries, from_ms: int, to_ms: int) -> str:
    for doubt in core.doubts:
        if doubt.from_ms < to_ms and doubt.to_ms > from_ms:
            return doubt.why.value
    if core.to_ms is not None and core.to_ms < to_ms:
        return f"its place ended at {rfc3339(core.to_ms)}"
    return "" if core.points else "it never gave a value"


def hole_words(hole: Hole, max_gap_ms: int) -> str:
    """Return the words for a hole: which probe, from when to when, what would show it."""
    probe = f"{hole.channel}: " if hole.channel else ""
    why = f" ({hole.why})" if hole.why else ""
    return (
        f"{probe}no reading for {show_duration(hole.ms)} from {rfc3339(hole.from_ms)} to "
        f"{rfc3339(hole.to_ms)}{why}, longer than the {show_duration(max_gap_ms)} this policy "
        "allows: not shown; a hand reading at that place shows it"
    )


def doubted_words(history: PieceHistory) -> str:
    """Return what of a history is in doubt: which probe, from when to when and why."""
    told = [
        f"{core.channel} from {rfc3339(doubt.from_ms)} to "
        f"{rfc3339(min(doubt.to_ms, history.end_ms))} ({doubt.why.value})"
        for core in history.cores
        for doubt in core.doubts
        if doubt.why is not DoubtReason.BEFORE
    ]
    told += [word.words for word in history.withdrawn]
    return "; ".join(told)
