"""From a record to the histories of its pieces: the one way, live and afterwards alike."""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from pitlogger.clock import rfc3339
from pitlogger.model.book import Assignment, Book, PieceBook
from pitlogger.model.cooks import ON_PIT, Piece, Stage
from pitlogger.model.journal import SpotRead
from pitlogger.model.quantities import Quantity, show_temperature
from pitlogger.model.readings import Quality, Reading, Site, Tagged
from pitlogger.pipeline.neighbours import AIR_MC
from pitlogger.pipeline.vet import bounds, vet_jump
from pitlogger.safety.history import PieceHistory, ProbeSeries, Withdrawn
from pitlogger.safety.instruments.belief import (
    END_MS,
    Doubt,
    DoubtReason,
    Setting,
    agreed_ms,
    believed,
    doubts,
    rate_mc_per_min,
)
from pitlogger.safety.instruments.stillness import left_behind
from pitlogger.safety.instruments.swaps import swaps

LATE_MS = 15 * 60_000  # a hand reading typed so much later says so
TAKEN_BACK_AT_ONCE_MS = 60_000
REPLACED_WITHIN_MS = 30 * 60_000
COLDEST_FOOD_MC = -40_000
Swapped = Mapping[tuple[str, int | None], tuple[Doubt, ...]]  # by channel and when it was put there


def histories(
    book: Book,
    readings: Iterable[Reading | Tagged],
    fat_pct: float | None = None,
    exchanged: Swapped | None = None,
    now_ms: int = 0,
) -> list[PieceHistory]:
    """Return the history of each piece of a book, in its order.

    Args:
        book: The cook as recorded in its journal.
        readings: In order of time. A ``Reading`` is as delivered: it gets its channel's
            offset and is vetted here. A ``Tagged`` one is adjusted and vetted already.
        fat_pct: Fat share of poultry, if known.
        exchanged: What ``swapped`` found, where these readings are not those of all cores.
        now_ms: Until when a cook that still runs is looked at: silence since the last reading
            counts. Its last reading, mark or hand reading by default.
    """
    by_channel: dict[str, list[tuple[int, int]]] = defaultdict(list)
    raw: set[str] = set()
    end_ms = max(now_ms if book.finished_ms is None else 0, book.told_until_ms())
    offsets = {channel: _Offsets(book, channel) for channel in book.channels}
    for reading in readings:
        end_ms = max(end_ms, reading.t_ms)
        by_channel[reading.channel]  # heard, if only to say that it has no value
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
    found = swapped(book, by_channel) if exchanged is None else exchanged
    return [_history(book, piece, by_channel, end_ms, fat_pct, found) for piece in book.pieces]


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
    exchanged: Swapped,
) -> PieceHistory:
    held = book.pieces[piece_id]
    piece = _described(book, held.piece)
    sited = _by_site(book, piece, by_channel, exchanged)
    channels = {series.channel for series in sited[Site.CORE]}
    spots, withdrawn = _hand_readings(book, piece.id)
    made = PieceHistory(
        piece=piece.id,
        cut=piece.cut,
        family=piece.family,
        prepared=piece.prepared,
        fat_pct=fat_pct,
        mass_mg=piece.mass_mg,
        parents=piece.parents,
        spans=tuple(held.spans()),
        marks=tuple(held.entered),
        unsaid=held.is_unsaid,
        cores=tuple(sited[Site.CORE]),
        spots=tuple(sorted((spot.at_ms, spot.value_mc) for _, spot in spots)),
        checked=frozenset((spot.at_ms, spot.value_mc) for _, spot in spots if _passed(book, spot)),
        late=tuple(
            (spot.at_ms, entered_ms)
            for entered_ms, spot in spots
            if entered_ms - spot.at_ms > LATE_MS
        ),
        withdrawn=tuple(withdrawn),
        surface=tuple(sited[Site.SURFACE]),
        cold=tuple(sited[Site.COLD]),
        pit=tuple(sited[Site.PIT]),
        moves=tuple(sorted(move for move in book.moved if move[1] in channels)),
        by_time=held.by_time,
        end_ms=end_ms if held.ended_ms is None else held.ended_ms,
    )
    cores = tuple(_doubted(book, held, piece, made, core) for core in made.cores)
    return replace(made, cores=tuple(_beside(made, core, cores) for core in cores))


def _by_site(
    book: Book, piece: Piece, by_channel: dict[str, list[tuple[int, int]]], exchanged: Swapped
) -> dict[Site, list[ProbeSeries]]:
    """Return the readings that belong to a piece, a series for each time a channel sat there."""
    sited: dict[Site, list[ProbeSeries]] = defaultdict(list)
    for channel, history in book.channels.items():
        points = by_channel.get(channel, [])
        for held, from_ms, to_ms, retold in _sittings(history):
            is_pit = held.channel.site is Site.PIT and piece.pit in (None, channel)
            if held.channel.piece != piece.id and not is_pit:
                continue
            mine = tuple(_between(points, from_ms, to_ms))
            doubted = (*exchanged.get((channel, from_ms), ()), *retold)
            sited[held.channel.site].append(
                ProbeSeries(channel, mine, from_ms, to_ms, doubted, channel in by_channel)
            )
    return sited


class _Sitting(NamedTuple):
    """Where a channel sat as far as anybody knew then: what was told later lies in a doubt."""

    held: Assignment
    from_ms: int | None
    to_ms: int | None
    retold: tuple[Doubt, ...]


def _sittings(history: Sequence[Assignment]) -> list[_Sitting]:
    """Return where a channel sat, from when to when; assignments that change no place joined."""
    found: list[_Sitting] = []
    for number, held in enumerate(history):
        to_ms = held.to_ms if held.end_said_ms is None else held.end_said_ms
        said = ((held.from_ms, held.begun_said_ms), (held.to_ms or 0, held.end_said_ms))
        retold = [
            Doubt(from_ms, until_ms - 1, DoubtReason.RETOLD)
            for from_ms, until_ms in said
            if until_ms is not None and until_ms > from_ms
        ]
        last = found[-1] if found else None
        if last is not None and last.held.place == held.place and last.to_ms == held.from_ms:
            found[-1] = last._replace(to_ms=to_ms, retold=(*last.retold, *retold))
        else:
            found.append(_Sitting(held, held.from_ms if number else None, to_ms, tuple(retold)))
    return found


# -- hand readings -----------------------------------------------------------------------------


def _hand_readings(book: Book, piece: str) -> tuple[list[tuple[int, SpotRead]], list[Withdrawn]]:
    """Return the hand readings that count, with when each was typed, and those that do not."""
    counted: list[tuple[int, SpotRead]] = []
    withdrawn: list[Withdrawn] = []
    for entry, spot in book.spots:
        if spot.piece != piece:
            continue
        if spot.value_mc >= AIR_MC:  # answered for by a person, and still no core of meat
            words = f"{_shown(spot)} by hand is no core of meat"
            withdrawn.append(Withdrawn(spot.at_ms, spot.value_mc, words, spot.at_ms))
        elif _failed_later(book, spot):
            words = f"{spot.probe} failed its check after it read {_shown(spot)}"
            withdrawn.append(Withdrawn(spot.at_ms, spot.value_mc, words, spot.at_ms))
        else:
            counted.append((entry.t_ms, spot))
    for struck in book.struck:
        spot, entry = struck.read, struck.entry
        at_once = (
            struck.until_by == entry.by and struck.until_ms - entry.t_ms <= TAKEN_BACK_AT_ONCE_MS
        )
        impossible = not COLDEST_FOOD_MC <= spot.value_mc < AIR_MC
        if spot.piece != piece or at_once or impossible:
            continue
        last_ms = spot.at_ms + REPLACED_WITHIN_MS
        if any(struck.until_ms <= fresh.at_ms <= last_ms for _, fresh in counted):
            continue
        who = f" by {struck.until_by}" if struck.until_by else ""
        words = f"a hand reading of {_shown(spot)} was struck{who} at {rfc3339(struck.until_ms)}"
        withdrawn.append(Withdrawn(spot.at_ms, spot.value_mc, words, struck.until_ms))
    return counted, withdrawn


def _shown(spot: SpotRead) -> str:
    return f"{show_temperature(spot.value_mc, digits=1)} at {rfc3339(spot.at_ms)}"


def _passed(book: Book, spot: SpotRead) -> bool:
    """Return whether the thermometer of a hand reading had passed its last check by then."""
    made = [
        check.within
        for entry, check in book.checks
        if check.instrument == spot.probe and entry.t_ms <= spot.at_ms
    ]
    return bool(made) and made[-1]


def _failed_later(book: Book, spot: SpotRead) -> bool:
    return any(a <= spot.at_ms <= b for a, b in _failures(book, spot.probe or ""))


def _failures(book: Book, instrument: str) -> list[tuple[int, int]]:
    """Return from the last good check, or the beginning, to each failed one.

    Source: FDA Food Code 4-502.11(B): thermometers are checked as often as needed.
    """
    found: list[tuple[int, int]] = []
    good_ms = 0
    made = sorted(
        (entry.t_ms, check.within)
        for entry, check in book.checks
        if check.instrument == instrument and check.method != "scale"
    )
    for t_ms, within in made:
        if within:
            good_ms = t_ms
        else:
            found.append((good_ms, t_ms))
    if made and not made[-1][1]:
        found[-1] = (found[-1][0], 1 << 62)  # in doubt until a good check
    return found


# -- doubts ------------------------------------------------------------------------------------


def _doubted(
    book: Book, held: PieceBook, piece: Piece, made: PieceHistory, core: ProbeSeries
) -> ProbeSeries:
    """Return a core with the stretches in which it is not believed."""
    if not core.points:
        return core
    placed = [at_ms for at_ms, channel in book.moved if channel == core.channel]
    if core.from_ms is not None:
        placed.append(core.from_ms)
    placed += [back.to_ms for back in core.doubts if back.to_ms < END_MS]  # put back

    def stage_at(t_ms: int) -> Stage | None:
        return held.stage_at(t_ms) if held.marks and held.marks[0].at_ms <= t_ms else None

    setting = Setting(
        stage_at=stage_at,
        rate_mc_per_min=rate_mc_per_min(piece.family, piece.thickness_mm),
        pit=made.pit[0].points if made.pit else (),
        placed_ms=tuple(placed),
        hand=made.spots,
    )
    found = doubts(core.points, setting)
    found += [Doubt(a, b, DoubtReason.CHECK) for a, b in _failures(book, core.channel)]
    found += _journalled(book, core, made.spots)
    return replace(core, doubts=tuple(sorted((*core.doubts, *found))))


def _beside(made: PieceHistory, core: ProbeSeries, cores: Sequence[ProbeSeries]) -> ProbeSeries:
    """Return a core with the stretches in which it stood still and its piece did not."""
    others = [believed(one.points, one.doubts) for one in cores if one is not core]
    fired = made.during(ON_PIT)
    pit = [point for one in made.pit for point in one.points
           if any(from_ms <= point[0] <= to_ms for from_ms, to_ms in fired)]  # fmt: skip
    found = [Doubt(a, b, DoubtReason.STUCK) for a, b in left_behind(core.points, others, pit)]
    return replace(core, doubts=tuple(sorted((*core.doubts, *found)))) if found else core


def _journalled(book: Book, core: ProbeSeries, spots: Sequence[tuple[int, int]]) -> list[Doubt]:
    """Return the doubts that arose while a core was read; a later entry ends an open one.

    A person's word that a doubt was wrong counts where a hand reading in it agreed.
    """
    spans: dict[tuple[str, int], int] = {}
    wrong: set[tuple[str, int]] = set()
    for by, body in book.doubted:
        if body.channel != core.channel or body.reason not in set(DoubtReason):
            continue
        doubt = (body.reason, body.from_ms)
        if by:
            (wrong.add if body.believed else wrong.discard)(doubt)
        if not body.believed and not (by and doubt in spans):
            spans[doubt] = END_MS if body.to_ms is None else body.to_ms - 1
    for doubt in wrong & spans.keys():
        within = _between(core.points, doubt[1], spans[doubt] + 1)
        if agreed_ms(within, spots) is not None:
            del spans[doubt]
    first_ms, last_ms = core.from_ms or 0, core.to_ms or END_MS
    return [
        Doubt(max(from_ms, first_ms), min(to_ms, last_ms), DoubtReason(reason))
        for (reason, from_ms), to_ms in spans.items()
        if from_ms < last_ms and to_ms >= first_ms
    ]


def swapped(book: Book, by_channel: Mapping[str, Sequence[tuple[int, int]]]) -> Swapped:
    """Return for each core of a cook when it read what another should have read.

    Args:
        by_channel: Good readings of each core, (t_ms, milli-degC); one a minute will do.
    """
    sat: list[tuple[str, int | None, Sequence[tuple[int, int]], str | None]] = [
        (
            channel,
            from_ms,
            tuple(_between(by_channel.get(channel, ()), from_ms, to_ms)),
            held.channel.piece,
        )
        for channel, history in book.channels.items()
        for held, from_ms, to_ms, _ in _sittings(history)
        if held.channel.site is Site.CORE
    ]
    # A probe moved within its piece is no word that its plug sits in the right socket again.
    placed = [[] if from_ms is None else [from_ms] for _, from_ms, _, _ in sat]
    found = swaps([points for _, _, points, _ in sat], placed, [piece for *_, piece in sat])
    return {(sat[at][0], sat[at][1]): tuple(held) for at, held in enumerate(found) if held}


def _between(
    points: Sequence[tuple[int, int]], from_ms: int | None, to_ms: int | None
) -> Sequence[tuple[int, int]]:
    first = 0 if from_ms is None else bisect_left(points, from_ms, key=_time)
    last = len(points) if to_ms is None else bisect_left(points, to_ms, key=_time)
    return points[first:last]


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
