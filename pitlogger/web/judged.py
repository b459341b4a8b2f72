"""The food log of a cook: its sheets with verdicts, what was done about them, who signed.

Judged in a thread with a reader of its own, one cook at a time, so that neither the loop nor
other questions wait. Readings are streamed from the store; of a value that stands still only
its ends are held, so that a night of many probes stays small.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from threading import Lock

from pitlogger.errors import RefusedError, UsageError, unknown
from pitlogger.formats.journal_json import dump_entry
from pitlogger.model.book import Book
from pitlogger.model.folding import fold, last_ms_of
from pitlogger.model.journal import CheckMade, CorrectiveTaken, Entry, SignedOff
from pitlogger.model.readings import Site, Tagged
from pitlogger.reports.gathering import without_repeats
from pitlogger.rules.messages import Units
from pitlogger.safety import record
from pitlogger.safety.judge import judge
from pitlogger.safety.policy import Policy
from pitlogger.safety.record import ShownIn
from pitlogger.safety.recorded import histories
from pitlogger.safety.sheets import sheets
from pitlogger.store.queries import Reader
from pitlogger.store.rows import CookRow
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown, reworded_rows
from pitlogger.views.since_signed import since_signed

_JUDGED = (Site.CORE, Site.SURFACE, Site.HOLD, Site.TRANSPORT, Site.LINE, Site.COLD, Site.PIT)
_one_at_a_time = Lock()


@dataclass(frozen=True, slots=True)
class JudgedCook:
    """The food log of a cook: its rows, what was done about them, who signed."""

    cook: str
    name: str
    rows: list[record.LogRow]
    logged: list[Entry]
    head: str
    entries: int
    signed: list[record.SignOff]
    faults: list[str]
    since: list[tuple[Entry, str]]  # what came after the last signature, in words


async def judged(daemon: Node, cook: str | None, units: Units | None = None) -> JudgedCook:
    """Return the food log of a cook, by id or name, as it stands; of the last one by default.

    Args:
        units: Of who reads it; the node's by default.

    Raises:
        UsageError: No such cook.
        RefusedError: Nothing is on record yet.
    """
    units = units or daemon.units
    shown_in = ShownIn(units.temperature, units.mass)
    shown = Shown(units, daemon.clock.engine_ms(), daemon.utc_offset_ms)
    return await asyncio.to_thread(
        judge_cook,
        daemon.config.database,
        cook,
        daemon.safety,
        shown_in,
        shown.moment,
        shown.now_ms,
    )


def judge_cook(
    path: Path,
    cook: str | None,
    policy: Policy,
    shown_in: ShownIn,
    moment: Callable[[int], datetime],
    now_ms: int,
) -> JudgedCook:
    """Return the food log of a cook of a database, up to ``now_ms`` if it still runs.

    ``moment`` is the time of its place.
    """
    with _one_at_a_time, Reader.open(path) as reader:
        row, links = linked(reader, cook)
        entries = reader.entries(cook=row.id)
        book = fold(entries)
        last_ms = last_ms_of(entries, now_ms)
        readings = without_repeats(_readings(reader, entries, book, last_ms))
        found = histories(book, readings, now_ms=now_ms)
        verdicts = [judge(history, policy) for history in found]
        logged = reader.entries(kinds=record.LOGGED_KINDS)
        next_ms = _next_cook_ms(reader, row)
    signed = [
        record.SignOff(entry.by, entry.t_ms, entry.body.entries, entry.body.head, entry.body.name)
        for entry in logged
        if isinstance(entry.body, SignedOff) and entry.body.cook == row.id
    ]
    mine = [entry for entry in logged if _belongs(entry, book, next_ms)]
    return JudgedCook(
        row.id,
        row.name,
        reworded_rows(
            sheets(entries, book, verdicts, policy, last_ms, mine, shown_in),
            shown_in.temperature,
            moment,
        ),
        mine,
        links[-1].hash if links else record.GENESIS,
        len(links),
        signed,
        record.verify(links, signed),
        list(since_signed(entries, signed[-1].seq, Units(shown_in.temperature, shown_in.mass)))
        if signed
        else [],
    )


def linked(reader: Reader, cook: str | None) -> tuple[CookRow, list[record.ChainLink]]:
    """Return a cook, the last one by default, and its journal as a hash chain."""
    kept = reader.cooks(withdrawn=True)
    rows = [row for row in kept if not row.withdrawn]
    if not rows and cook is None:
        raise RefusedError("there is no cook on record yet")
    for row in (*rows, *(kept if cook is not None else ())):
        if cook is None or cook == row.id or cook.casefold() == row.name.casefold():
            return row, record.chain(dump_entry(entry) for entry in reader.entries(cook=row.id))
    raise UsageError(unknown("cook", cook or "", [row.id for row in rows[:20]]))


def _channels(book: Book) -> list[str]:
    return [
        channel
        for channel, history in book.channels.items()
        if any(held.channel.site in _JUDGED for held in history)
    ]


def _readings(reader: Reader, entries: list[Entry], book: Book, last_ms: int) -> Iterator[Tagged]:
    """Yield what the channels of a cook read while it lasted, adjusted and vetted.

    From when it began, which may lie before it was entered.
    """
    first_ms = entries[0].t_ms
    if book.started_ms is not None:
        first_ms = min(first_ms, book.started_ms)
    channels = _channels(book)
    for run in dict.fromkeys(entry.run for entry in entries):
        for kept in reader.readings(channels, first_ms, last_ms + 1, run=run):
            yield Tagged(
                kept.channel, kept.t_ms, kept.raw, kept.value, kept.quality, Site.NONE, None
            )


def _belongs(entry: Entry, book: Book, next_ms: int | None) -> bool:
    """Return whether an entry is about this cook: pieces of the next one may bear the same ids."""
    if isinstance(entry.body, CorrectiveTaken):
        since_ms = book.started_ms or 0
        is_before_next = next_ms is None or entry.t_ms < next_ms
        return entry.body.piece in book.pieces and since_ms <= entry.t_ms and is_before_next
    return isinstance(entry.body, CheckMade)


def _next_cook_ms(reader: Reader, row: CookRow) -> int | None:
    later = [cook.started_ms for cook in reader.cooks() if cook.started_ms > row.started_ms]
    return min(later, default=None)
