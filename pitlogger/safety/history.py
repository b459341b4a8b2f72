"""A piece's history: what every verdict is judged on, and the coldest and warmest curve.

Several probes and hand readings make one curve of the lowest and the highest valid value
at each time. The lowest decides cooking and hot holding, the highest decides cooling and
cold holding: never the mean (FSIS-GD-2021 p. 22), never another piece's probe.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

from pitlogger.model.book import Book, Span
from pitlogger.model.cooks import POULTRY, Piece, Stage
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality, Reading, Site, Tagged
from pitlogger.pipeline.vet import bounds, vet_jump


class Point(NamedTuple):
    """The lowest and highest valid core value at a time; ``hand`` if only by hand."""

    t_ms: int
    low_mc: int
    high_mc: int
    hand: bool = False


@dataclass(frozen=True, slots=True)
class Series:
    """The good readings of one channel while it sat in one place, in order of time."""

    channel: str
    points: tuple[tuple[int, int], ...]  # t_ms, milli-degC


@dataclass(frozen=True, slots=True)
class PieceHistory:
    """One piece as the record has it.

    Attributes:
        spans: Its stages; empty where none was ever set.
        cores: Core channels; a probe that gave no value leaves a hole, never a guess.
        spots: Hand readings of its core, (t_ms, milli-degC).
        moves: When a core probe was moved, (t_ms, channel).
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
    cores: tuple[Series, ...] = ()
    spots: tuple[tuple[int, int], ...] = ()
    surface: tuple[Series, ...] = ()
    cold: tuple[Series, ...] = ()
    pit: tuple[Series, ...] = ()
    moves: tuple[tuple[int, str], ...] = ()
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

    def moved_within(self, from_ms: int, to_ms: int) -> list[int]:
        return [t_ms for t_ms, _ in self.moves if from_ms <= t_ms <= to_ms]


def curve(history: PieceHistory, max_gap_ms: int, settle_ms: int = 0) -> list[Point]:
    """Return the coldest and warmest valid core of a piece over time.

    A probe counts between two of its readings where they are at most ``max_gap_ms`` apart,
    on the straight line between them. Readings within ``settle_ms`` of a moved probe are
    left out. A hand reading counts at its own time.
    """
    series = [_settled(core, history.moves, settle_ms) for core in history.cores]
    series = [points for points in series if points]
    spots: dict[int, list[int]] = defaultdict(list)
    for t_ms, value_mc in history.spots:
        spots[t_ms].append(value_mc)
    if len(series) == 1 and not spots:
        return [Point(t_ms, value_mc, value_mc) for t_ms, value_mc in series[0]]
    times = sorted(set(spots).union(*({t_ms for t_ms, _ in points} for points in series)))
    columns = [_values_at(times, points, max_gap_ms) for points in series]
    merged = []
    for index, t_ms in enumerate(times):
        probes = [value for column in columns if (value := column[index]) is not None]
        values = probes + spots.get(t_ms, [])
        merged.append(Point(t_ms, min(values), max(values), hand=not probes))
    return merged


def _settled(
    core: Series, moves: Sequence[tuple[int, str]], settle_ms: int
) -> tuple[tuple[int, int], ...]:
    mine = [t_ms for t_ms, channel in moves if channel == core.channel]
    if not mine:
        return core.points
    return tuple(
        point for point in core.points if all(abs(point[0] - t_ms) > settle_ms for t_ms in mine)
    )


def _values_at(
    times: Sequence[int], points: Sequence[tuple[int, int]], max_gap_ms: int
) -> list[int | None]:
    """Return a channel's value at each time, ``None`` in its holes."""
    values: list[int | None] = []
    at, last = 0, len(points) - 1
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


def histories(
    book: Book, readings: Iterable[Reading | Tagged], fat_pct: float | None = None
) -> list[PieceHistory]:
    """Return the history of each piece of a book, in its order.

    Args:
        book: The cook as its journal tells it.
        readings: In order of time. A ``Reading`` is as delivered: it gets its channel's
            offset and is vetted here. A ``Tagged`` one is adjusted and vetted already.
        fat_pct: Fat share of poultry, if known.
    """
    by_channel: dict[str, list[tuple[int, int]]] = defaultdict(list)
    raw: set[str] = set()
    end_ms = book.finished_ms or book.started_ms or 0
    offsets = {channel: _Offsets(book, channel) for channel in book.channels}
    for reading in readings:
        end_ms = max(end_ms, reading.t_ms)
        if reading.value is None or reading.quality is not Quality.GOOD:
            continue
        value = reading.value
        if isinstance(reading, Reading) and (offset := offsets.get(reading.channel)):
            value += offset.at(reading.t_ms)
            raw.add(reading.channel)
        by_channel[reading.channel].append((reading.t_ms, value))
    for channel, points in by_channel.items():
        points.sort(key=_time)
        if channel in raw:
            by_channel[channel] = _believable(points, book.channels[channel][-1].channel.site)
    end_ms = max([end_ms, *(spot.at_ms for _, spot in book.spots)])
    end_ms = max([end_ms, *(mark.at_ms for held in book.pieces.values() for mark in held.marks)])
    return [_history(book, piece_id, by_channel, end_ms, fat_pct) for piece_id in book.pieces]


def _time(point: tuple[int, int]) -> int:
    return point[0]


def _believable(points: list[tuple[int, int]], site: Site) -> list[tuple[int, int]]:
    """Return the points that vetting believes: in range, and no lone spike."""
    low, high = bounds(Quantity.TEMPERATURE, site)
    kept: list[tuple[int, int]] = []
    suspect: int | None = None
    for t_ms, value_mc in points:
        if not low <= value_mc <= high:
            continue
        if kept:
            last_ms, last_mc = kept[-1]
            quality = vet_jump(value_mc, last_mc, suspect, t_ms - last_ms)
            if quality is not Quality.GOOD:
                suspect = value_mc
                continue
        suspect = None
        kept.append((t_ms, value_mc))
    return kept


class _Offsets:
    """The offset of a channel over time, milli-units: as assigned, then as adjusted."""

    def __init__(self, book: Book, channel: str) -> None:
        self.first = book.channels[channel][-1].channel.offset
        self.set = sorted(
            (entry.t_ms, body.offset) for entry, body in book.adjusted if body.channel == channel
        )

    def at(self, t_ms: int) -> int:
        offset = self.first
        for since_ms, adjusted in self.set:
            if since_ms <= t_ms:
                offset = adjusted
        return offset


def _history(
    book: Book,
    piece_id: str,
    by_channel: dict[str, list[tuple[int, int]]],
    end_ms: int,
    fat_pct: float | None,
) -> PieceHistory:
    held = book.pieces[piece_id]
    piece = _described(book, held.piece)
    sited = _by_site(book, piece, by_channel)
    cores = sited[Site.CORE]
    channels = {series.channel for series in cores}
    return PieceHistory(
        piece=piece.id,
        cut=piece.cut,
        family=piece.family,
        prepared=piece.prepared,
        fat_pct=fat_pct,
        mass_mg=piece.mass_mg,
        parents=piece.parents,
        spans=tuple(held.spans()),
        cores=tuple(cores),
        spots=tuple(
            sorted((spot.at_ms, spot.value_mc) for _, spot in book.spots if spot.piece == piece.id)
        ),
        surface=tuple(sited[Site.SURFACE]),
        cold=tuple(sited[Site.COLD]),
        pit=tuple(sited[Site.PIT]),
        moves=tuple(sorted(move for move in book.moved if move[1] in channels)),
        end_ms=end_ms if held.ended_ms is None else held.ended_ms,
    )


def _by_site(
    book: Book, piece: Piece, by_channel: dict[str, list[tuple[int, int]]]
) -> dict[Site, list[Series]]:
    """Return the readings that belong to a piece, a series for each time a channel sat there."""
    sited: dict[Site, list[Series]] = defaultdict(list)
    for channel, history in book.channels.items():
        points = by_channel.get(channel, [])
        for held in history:
            is_pit = held.channel.site is Site.PIT and piece.pit in (None, channel)
            if held.channel.piece != piece.id and not is_pit:
                continue
            first = 0 if held is history[0] else bisect_left(points, held.from_ms, key=_time)
            last = len(points)
            if held.to_ms is not None:
                last = bisect_left(points, held.to_ms, key=_time)
            sited[held.channel.site].append(Series(channel, tuple(points[first:last])))
    return sited


def _described(book: Book, piece: Piece) -> Piece:
    """Return a piece with the cut and preparation of its first parent where it has none."""
    described = piece
    while described.cut == "other" and described.parents:
        parent = book.pieces.get(described.parents[0])
        if parent is None:
            break
        described = replace(
            described,
            cut=parent.piece.cut,
            prepared=parent.piece.prepared,
            pit=described.pit or parent.piece.pit,
            parents=parent.piece.parents,
        )
    return replace(described, id=piece.id, parents=piece.parents)
