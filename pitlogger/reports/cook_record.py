"""Everything on record about one cook, loaded once for all of its reports and exports."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from pitlogger.clock import wall_ms
from pitlogger.errors import RefusedError, UsageError, unknown
from pitlogger.model.book import Book
from pitlogger.model.cooks import Cook
from pitlogger.model.folding import fold, last_ms_of
from pitlogger.model.journal import (
    CheckMade,
    CorrectiveTaken,
    Entry,
    SignedOff,
)
from pitlogger.model.readings import Quality, Reading, Site, Tagged
from pitlogger.reports.gathering import Gathering, without_repeats
from pitlogger.rules.messages import Units
from pitlogger.safety.history import PieceHistory
from pitlogger.safety.judge import PieceVerdicts, judge
from pitlogger.safety.policy import Policy
from pitlogger.safety.record import LOGGED_KINDS
from pitlogger.safety.recorded import Swapped, histories, swapped
from pitlogger.store.queries import Reader
from pitlogger.store.rows import ChartLine, ClockRow, CookRow, LostRow
from pitlogger.yields.books import from_book
from pitlogger.yields.ledger import Account, accounts

# The readings of some channels, of all if none is named, in order of time; asked repeatedly.
Readings = Callable[[Sequence[str] | None], Iterable[Tagged | Reading]]
MINUTE_MS = 60_000


@dataclass(frozen=True, slots=True)
class Wall:
    """Engine time as wall time of a place.

    ``clocks`` are the offsets in force, in order of time; without any, engine time is UTC.
    """

    clocks: tuple[ClockRow, ...] = ()
    zone: tzinfo | None = None

    def utc_ms(self, t_ms: int) -> int:
        """Return UTC for engine time."""
        return wall_ms(self.clocks, t_ms)

    def moment(self, t_ms: int) -> datetime:
        """Return engine time as a moment of the place."""
        return datetime.fromtimestamp(self.utc_ms(t_ms) / 1000, self.zone).astimezone(self.zone)

    def clock(self, t_ms: int | None) -> str:
        """Return the time of day, empty where there is none."""
        return "" if t_ms is None else f"{self.moment(t_ms):%H:%M}"

    def zone_words(self, *times_ms: int) -> str:
        """Return the time zone in words, with each offset that was in force."""
        moments = [self.moment(t_ms) for t_ms in times_ms]
        offsets = dict.fromkeys(f"UTC{one:%z}" for one in moments)
        names = dict.fromkeys(str(one.tzname()) for one in moments)
        known = [name for name in names if name[:1].isalpha() and not name.startswith("UTC")]
        zone = ", then ".join(f"{text[:-2]}:{text[-2:]}" for text in offsets)
        return f"{' / '.join(known)}, {zone}" if known else zone

    def full(self, t_ms: int) -> str:
        """Return day and time of day with the offset to UTC."""
        return f"{self.moment(t_ms):%Y-%m-%d %H:%M %z}"


@dataclass(frozen=True, slots=True)
class Premises:
    """Where food is made and who answers for it; empty where nobody said."""

    name: str = ""
    address: str = ""
    person_in_charge: str = ""
    permit: str = ""


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
    premises: Premises = Premises()

    @property
    def cook(self) -> Cook:
        assert self.book.cook is not None
        return self.book.cook

    @property
    def accounts(self) -> list[Account]:
        """The ledger of each piece that was weighed."""
        return [one for one in accounts(from_book(self.book)) if one.record.masses]


NOBODY_SAID = Premises()


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
    reader: Reader, cook: str | None, policy: Policy, units: Units, zone: tzinfo | None = None,
    premises: Premises = NOBODY_SAID, as_signed: bool = False, now_ms: int = 0,
) -> CookRecord:  # fmt: skip
    """Return a cook as it stands on record, or as it was when it was last signed.

    Args:
        cook: Id or name; the last one by default.
        policy: The limits it is judged by.
        zone: Whose times are printed; the host's by default.
        now_ms: Until when a cook that still runs is looked at: at least to the last row of
            its runs.
    """
    row = named_cook(reader, cook)
    entries, logged = reader.entries(cook=row.id), reader.entries(kinds=LOGGED_KINDS)
    if as_signed:
        entries, logged = signed_copy(row.id, entries, logged)
    runs = list(dict.fromkeys(entry.run for entry in entries))
    last_ms = entries[-1].t_ms if as_signed else max(reader.last_ms(run) for run in runs)
    end_ms = row.finished_ms or max(last_ms, now_ms)
    known = {held.run: held for held in reader.runs()}

    def readings(channels: Sequence[str] | None) -> Iterator[Tagged]:
        for run in runs:
            for r in reader.readings(channels, row.started_ms, end_ms + 1, run=run):
                yield Tagged(r.channel, r.t_ms, r.raw, r.value, r.quality, Site.NONE, None)

    return build_record(
        row.id, known[row.run].node, entries, readings, end_ms, policy, units,
        Wall(tuple(reader.clocks()), zone), tuple(logged),
        tuple(lost for lost in reader.lost() if lost.run in runs), premises,
    )  # fmt: skip


def signed_copy(
    cook: str, entries: list[Entry], logged: list[Entry]
) -> tuple[list[Entry], list[Entry]]:
    """Return what was on record when a cook was last signed.

    Raises:
        RefusedError: It was never signed.
    """
    signed = [entry for entry in logged
              if isinstance(entry.body, SignedOff) and entry.body.cook == cook]  # fmt: skip
    if not signed or not isinstance(signed[-1].body, SignedOff):
        raise RefusedError(f"{cook} is not signed: there is no signed copy of its log")
    return entries[: signed[-1].body.entries], logged[: logged.index(signed[-1]) + 1]


def build_record(
    cook: str, node: str, entries: Sequence[Entry], readings: Readings,
    end_ms: int, policy: Policy, units: Units, wall: Wall, logged: tuple[Entry, ...] = (),
    lost: tuple[LostRow, ...] = (), premises: Premises = NOBODY_SAID,
) -> CookRecord:  # fmt: skip
    """Return the record that entries and readings amount to.

    Args:
        readings: Asked once for all, then for each piece: a cook of many probes is never
            held whole.
        end_ms: Where the record ends, engine time, if its cook was not finished.
    """
    book = fold(entries)
    if book.cook is None or book.started_ms is None:
        raise UsageError(f"{cook}: the record holds no cook: it begins with 'pitlogger cook start'")
    end_ms = book.finished_ms or max(last_ms_of(entries), end_ms)
    gathering = Gathering(book.started_ms, end_ms)
    minutes: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for reading in readings(None):
        gathering.take(reading)
        _keep_minute(minutes[reading.channel], reading)
    exchanged = swapped(book, minutes)
    return CookRecord(
        id=cook,
        node=node,
        entries=tuple(entries),
        book=book,
        lines=gathering.lines(),
        verdicts=tuple(
            judge(_history(book, piece, readings, end_ms, exchanged), policy)
            for piece in book.pieces
        ),
        policy=policy,
        logged=tuple(entry for entry in logged if _concerns(entry, cook, book, end_ms)),
        gaps=tuple(gap for gap in gathering.gaps if not _is_scale(gap[0], book)),
        lost=lost,
        start_ms=book.started_ms,
        end_ms=end_ms,
        wall=wall,
        units=units,
        premises=premises,
    )


def _keep_minute(kept: list[tuple[int, int]], reading: Reading | Tagged) -> None:
    is_good = reading.value is not None and reading.quality is Quality.GOOD
    if is_good and (not kept or reading.t_ms - kept[-1][0] >= MINUTE_MS):
        assert reading.value is not None
        kept.append((reading.t_ms, reading.value))


def _history(
    book: Book, piece: str, readings: Readings, end_ms: int, exchanged: Swapped
) -> PieceHistory:
    """Return the history of one piece, from the readings of its own channels and the pits."""
    mine = [
        channel
        for channel, placed in book.channels.items()
        if any(held.channel.piece == piece or held.channel.site is Site.PIT for held in placed)
    ]
    made = histories(book, without_repeats(readings(mine)), exchanged=exchanged, now_ms=end_ms)
    return next(history for history in made if history.piece == piece)


def among(kept: Sequence[Tagged] | Sequence[Reading]) -> Readings:
    """Return readings that are held in memory as those of a record, in order of time."""
    return lambda channels: (
        reading for reading in kept if channels is None or reading.channel in channels
    )


def _is_scale(channel: str, book: Book) -> bool:
    """Return whether a channel was a scale, which stands idle between weighings."""
    return any(held.channel.site is Site.BENCH for held in book.channels.get(channel, []))


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
