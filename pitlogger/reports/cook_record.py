"""Everything on record about one cook, loaded once for all of its reports and exports."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from itertools import pairwise

from pitlogger.errors import RefusedError, UsageError, unknown
from pitlogger.model.book import Book, fold
from pitlogger.model.cooks import Cook
from pitlogger.model.journal import (
    CheckMade,
    CorrectiveTaken,
    Entry,
    SignedOff,
)
from pitlogger.model.readings import Reading, Site, Tagged
from pitlogger.rules.messages import Units
from pitlogger.safety.history import histories
from pitlogger.safety.judge import PieceVerdicts, judge
from pitlogger.safety.policy import Policy
from pitlogger.store.queries import Reader
from pitlogger.store.rows import ChartLine, ClockRow, CookRow, LostRow
from pitlogger.yields.books import from_book
from pitlogger.yields.ledger import Account, accounts

BUCKETS = 360
GAP_MS = 10 * 60_000
LOG_KINDS = ("signed-off", "corrective-taken", "check-made")


@dataclass(frozen=True, slots=True)
class Wall:
    """Engine time as wall time of a place.

    ``clocks`` are the offsets in force, in order of time; without any, engine time is UTC.
    """

    clocks: tuple[ClockRow, ...] = ()
    zone: tzinfo | None = None

    def utc_ms(self, t_ms: int) -> int:
        """Return UTC for engine time."""
        offset_ms = 0
        for clock in self.clocks:
            if clock.from_ms <= t_ms:
                offset_ms = clock.offset_ms
        return t_ms + offset_ms

    def moment(self, t_ms: int) -> datetime:
        """Return engine time as a moment of the place."""
        return datetime.fromtimestamp(self.utc_ms(t_ms) / 1000, self.zone).astimezone(self.zone)

    def clock(self, t_ms: int | None) -> str:
        """Return the time of day, empty where there is none."""
        return "" if t_ms is None else f"{self.moment(t_ms):%H:%M}"

    def full(self, t_ms: int) -> str:
        """Return day and time of day with the offset to UTC."""
        return f"{self.moment(t_ms):%Y-%m-%d %H:%M %z}"


@dataclass(frozen=True, slots=True)
class CookRecord:
    """One cook.

    Attributes:
        id: Cook id.
        lines: Readings in equal buckets, ``at_ms`` in engine time; no piece has a line of mass.
        logged: Checks, corrective action and sign-offs, of whatever time.
        gaps: Channel, from, to: longer than ten minutes without a good reading, scales apart.
        end_ms: End of the cook, or of its record so far.
    """

    id: str
    node: str
    entries: tuple[Entry, ...]
    book: Book
    lines: tuple[ChartLine, ...]
    verdicts: tuple[PieceVerdicts, ...]
    policy: Policy
    logged: tuple[Entry, ...]
    gaps: tuple[tuple[str, int, int], ...]
    lost: tuple[LostRow, ...]
    start_ms: int
    end_ms: int
    wall: Wall
    units: Units

    @property
    def cook(self) -> Cook:
        assert self.book.cook is not None
        return self.book.cook

    @property
    def accounts(self) -> list[Account]:
        """The ledger of each piece that was weighed."""
        return [one for one in accounts(from_book(self.book)) if one.record.masses]


def named_cook(reader: Reader, cook: str | None) -> CookRow:
    """Return the cook of an id or name, the last one if none is given.

    Raises:
        RefusedError: Nothing is on record yet.
        UsageError: No such cook.
    """
    rows = reader.cooks()
    if not rows:
        raise RefusedError("there is no cook on record yet")
    for row in rows:
        if cook is None or cook in (row.id, row.name):
            return row
    raise UsageError(unknown("cook", cook or "", [row.id for row in rows[:20]]))


def load_record(
    reader: Reader, cook: str | None, policy: Policy, units: Units, zone: tzinfo | None = None
) -> CookRecord:
    """Return a cook as it stands on record.

    Args:
        cook: Id or name; the last one by default.
        policy: The limits it is judged by.
        zone: Whose times are printed; the host's by default.
    """
    row = named_cook(reader, cook)
    entries = reader.entries(cook=row.id)
    end_ms = row.finished_ms or entries[-1].t_ms
    runs = list(dict.fromkeys(entry.run for entry in entries))
    known = {held.run: held for held in reader.runs()}
    readings = [
        Tagged(r.channel, r.t_ms, r.raw, r.value, r.quality, Site.NONE, None)
        for run in runs
        for r in reader.readings(None, row.started_ms, end_ms + 1, run=run)
    ]
    return build_record(
        row.id, known[row.run].node, entries, readings, policy, units,
        Wall(tuple(reader.clocks()), zone), tuple(reader.entries(kinds=LOG_KINDS)),
        tuple(lost for lost in reader.lost() if lost.run in runs),
    )  # fmt: skip


def build_record(
    cook: str, node: str, entries: Sequence[Entry], readings: Sequence[Tagged | Reading],
    policy: Policy, units: Units, wall: Wall, logged: tuple[Entry, ...] = (),
    lost: tuple[LostRow, ...] = (),
) -> CookRecord:  # fmt: skip
    """Return the record that entries and readings amount to.

    Args:
        readings: In order of time.
    """
    book = fold(entries)
    if book.cook is None or book.started_ms is None:
        raise UsageError(f"{cook}: the record holds no cook: it begins with 'pitlogger cook start'")
    last_ms = max((entries[-1].t_ms, *(reading.t_ms for reading in readings[-1:])))
    end_ms = book.finished_ms or last_ms
    series = _series(readings)
    return CookRecord(
        id=cook,
        node=node,
        entries=tuple(entries),
        book=book,
        lines=tuple(
            bucketed(channel, points, book.started_ms, end_ms) for channel, points in series.items()
        ),
        verdicts=tuple(judge(history, policy) for history in histories(book, readings)),
        policy=policy,
        logged=tuple(entry for entry in logged if _concerns(entry, cook, book, end_ms)),
        gaps=tuple(_gaps(series, book)),
        lost=lost,
        start_ms=book.started_ms,
        end_ms=end_ms,
        wall=wall,
        units=units,
    )


def _concerns(entry: Entry, cook: str, book: Book, end_ms: int) -> bool:
    match entry.body:
        case SignedOff(cook=signed):
            return signed == cook
        case CorrectiveTaken(piece=piece):
            started_ms = book.started_ms or 0
            return piece in book.pieces and entry.t_ms >= started_ms
        case CheckMade():
            return entry.t_ms <= end_ms
        case _:
            return False


def _series(readings: Iterable[Tagged | Reading]) -> dict[str, list[tuple[int, int]]]:
    series: dict[str, list[tuple[int, int]]] = {}
    for reading in readings:
        if reading.value is not None and reading.quality.value == "good":
            series.setdefault(reading.channel, []).append((reading.t_ms, reading.value))
    return series


def _gaps(series: dict[str, list[tuple[int, int]]], book: Book) -> Iterable[tuple[str, int, int]]:
    """Yield the gaps of what is read without end; a scale stands idle between weighings."""
    for channel, points in series.items():
        sites = {held.channel.site for held in book.channels.get(channel, [])}
        if Site.BENCH in sites:
            continue
        for (before_ms, _), (after_ms, _) in pairwise(points):
            if after_ms - before_ms > GAP_MS:
                yield channel, before_ms, after_ms


def bucketed(
    channel: str, points: Sequence[tuple[int, int]], from_ms: int, to_ms: int,
    buckets: int = BUCKETS,
) -> ChartLine:  # fmt: skip
    """Return points as lowest, highest and mean of equal buckets; empty ones are left out."""
    width_ms = max(1, -(-(to_ms + 1 - from_ms) // buckets))
    held: dict[int, list[int]] = {}
    for t_ms, value in points:
        if from_ms <= t_ms <= to_ms:
            held.setdefault((t_ms - from_ms) // width_ms, []).append(value)
    order = sorted(held)
    return ChartLine(
        channel,
        [from_ms + number * width_ms for number in order],
        [min(held[number]) for number in order],
        [max(held[number]) for number in order],
        [round(sum(held[number]) / len(held[number])) for number in order],
        [len(held[number]) for number in order],
    )
