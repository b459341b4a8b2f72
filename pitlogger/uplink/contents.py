"""What a bundle holds: the next records after a position, of one run, up to a size."""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import groupby
from operator import itemgetter
from typing import Any

from pitlogger.formats.bundle import (
    MINUTES,
    Bundle,
    ClockPart,
    EntryPart,
    HeldPart,
    LostPart,
    RunPart,
    SpanPart,
)
from pitlogger.store.queries import Reader
from pitlogger.store.schema import MINUTE_MS
from pitlogger.uplink.position import Position

Ask = Callable[..., sqlite3.Cursor]
Row = tuple[Any, ...]

ROOM = 200_000  # bytes of records; the rest of a bundle is small
AT_ONCE = 200  # rows looked at
HELD_RUNS, HELD_MS = 50, 30 * 86_400_000  # asked after; a restore sets a hub back by days
_ENTRY_BYTES, _SPAN_BYTES = 100, 350  # what goes with the text of an entry, the data of a span

_RUNS = "SELECT id FROM run ORDER BY id"
_OPEN_RUNS = "SELECT id FROM run WHERE end_ms IS NULL ORDER BY id"
_ENTRIES = (
    "SELECT run, seq, t_ms, kind, initials, request_key, cook, entry FROM journal"
    " WHERE run = ? AND seq > ? ORDER BY seq LIMIT ?"
)
_SPAN_COLUMNS = (
    "packed.id, channel.run, channel.name, channel.quantity, block_ms, packed.rev, readings, data,"
    " channel.id FROM packed JOIN channel ON channel.id = packed.channel"
)
_SPANS = f"SELECT {_SPAN_COLUMNS} WHERE packed.id > ? ORDER BY packed.id LIMIT ?"
_REWRITTEN = f"SELECT {_SPAN_COLUMNS} WHERE packed.rev > 0 AND packed.id <= ? ORDER BY packed.id"
_MINUTES = "SELECT channel, t_ms, n, mean, low, high FROM rollup WHERE t_ms >= ? AND t_ms < ?"
_LOST = (
    "SELECT id, run, from_ms, to_ms, readings, reason FROM lost WHERE id > ? ORDER BY id LIMIT ?"
)


@dataclass(frozen=True, slots=True)
class Next:
    """The next bundle, the position once it is received, and whether there may be more then."""

    bundle: Bundle
    after: Position
    more: bool


def next_bundle(
    reader: Reader,
    node: str,
    number: int,
    position: Position,
    *,
    spans: bool = True,
    all_runs: bool = True,
) -> Next | None:
    """Return the records that follow a position, ``None`` where there are none.

    Args:
        spans: Whether spans and losses are wanted too, or entries alone because one is urgent.
        all_runs: Whether runs that have ended are looked through too: imports, and what an
            earlier life of the node left.
    """
    with reader.rows() as ask:
        entries, more = _entries(ask, position, all_runs)
        packed = ask(_SPANS, (position.span, AT_ONCE)).fetchall() if spans else []
        if spans:
            packed = [*_rewrites(ask, position), *packed]
        lost = ask(_LOST, (position.lost, AT_ONCE)).fetchall() if spans else []
        first = [rows[0][at] for rows, at in ((entries, 0), (packed, 1), (lost, 1)) if rows]
        if not first:
            return None
        more = more or AT_ONCE in (len(entries), len(lost)) or len(packed) >= AT_ONCE
        run = min(first)
        room = ROOM
        taken, room = _fitting([row for row in entries if row[0] == run], room, _entry_bytes)
        blocks, room = _fitting(_leading(packed, run), room, _span_bytes)
        losses = [row for row in lost if row[1] == run]
        bundle = Bundle(
            node, number, *_run_of(ask, run),
            spans=tuple(_spans(ask, blocks)),
            entries=tuple(EntryPart(*row[1:]) for row in taken),
            lost=tuple(LostPart(*row[2:]) for row in losses),
        )  # fmt: skip
    left = len(entries) + len(packed) + len(lost) - len(taken) - len(blocks) - len(losses)
    return Next(bundle, _after(position, taken, blocks, losses), more or left > 0)


def of_run(reader: Reader, node: str, run: str, confirmed: Position | None) -> Bundle:
    """Return a bundle without a number that tells of a run and of what the hub should have."""
    with reader.rows() as ask:
        found = ask("SELECT id FROM run WHERE run = ?", (run,)).fetchone()
        held = () if confirmed is None else _held(ask, confirmed)
        return replace(Bundle(node, 0, *_run_of(ask, found[0])), held=held)


def fitting(reader: Reader, position: Position) -> Position:
    """Return a position as far as the file has come: less where it is an older backup's.

    Rows of such a file will get numbers that others had when they were sent.
    """
    with reader.rows() as ask:
        spans, lost = (
            ask(f"SELECT coalesce(max(id), 0) FROM {table}").fetchone()[0]  # noqa: S608
            for table in ("packed", "lost")
        )
        journal = {
            run: seq for run, seq in position.journal.items()
            if ask("SELECT 1 FROM journal WHERE run = ? AND seq >= ?", (run, seq)).fetchone()
        }  # fmt: skip
    is_older = spans < position.span or lost < position.lost
    return Position(journal) if is_older else replace(position, journal=journal)


def before_runs(reader: Reader, position: Position, runs: Collection[str]) -> Position:
    """Return the position from which what the record holds of these runs is sent again."""
    marks = ", ".join("?" * len(runs))
    with reader.rows() as ask:
        found = {
            run
            for (run,) in ask(f"SELECT id FROM run WHERE run IN ({marks})", (*runs,))  # noqa: S608
        }
        ((first,),) = ask(
            "SELECT min(packed.id) FROM packed JOIN channel ON channel.id = packed.channel"  # noqa: S608
            f" JOIN run ON run.id = channel.run WHERE run.run IN ({marks})", (*runs,),
        )  # fmt: skip
    journal = {run: seq for run, seq in position.journal.items() if run not in found}
    span = position.span if first is None else min(position.span, first - 1)
    rewritten = {row: rev for row, rev in position.rewritten.items() if row <= span}
    return Position(journal, span, 0, rewritten)


def _held(ask: Ask, confirmed: Position) -> tuple[HeldPart, ...]:
    """Return what a hub should have of the newest runs, of blocks not too old to be dropped."""
    (to_ms,) = ask(
        "SELECT coalesce((SELECT min(block_ms) FROM packed WHERE id > ?),"
        " (SELECT max(block_ms) + 1 FROM packed), 0)", (confirmed.span,),
    ).fetchone()  # fmt: skip
    from_ms = to_ms - HELD_MS
    spans: dict[int, int] = dict(ask(
        "SELECT channel.run, count(*) FROM packed JOIN channel ON channel.id = packed.channel"
        " WHERE block_ms >= ? AND block_ms < ? GROUP BY channel.run", (from_ms, to_ms),
    ))  # fmt: skip
    parts = []
    for number, run in ask("SELECT id, run FROM run ORDER BY id DESC LIMIT ?", (HELD_RUNS,)):
        seq = confirmed.journal.get(number, 0)
        (entries,) = ask(
            "SELECT count(*) FROM journal WHERE run = ? AND seq <= ?", (number, seq)
        ).fetchone()
        if entries or number in spans:
            parts.append(HeldPart(run, seq, entries, from_ms, to_ms, spans.get(number, 0)))
    return tuple(parts)


def _entries(ask: Ask, position: Position, all_runs: bool) -> tuple[list[Row], bool]:
    """Return the next entries of the first run that has any, and whether runs follow it."""
    runs = ask(_RUNS if all_runs else _OPEN_RUNS).fetchall()
    for (run,) in runs:
        after = position.journal.get(run, 0)
        found: list[Row] = ask(_ENTRIES, (run, after, AT_ONCE)).fetchall()
        if found:
            return found, (run,) != runs[-1]
    return [], False


def _rewrites(ask: Ask, position: Position) -> list[Row]:
    """Return spans received before that late readings have rewritten since."""
    known = position.rewritten
    rows = ask(_REWRITTEN, (position.span,)).fetchall()
    return [row for row in rows if known.get(row[0], 0) < row[5]]


def _leading(rows: list[Row], run: int) -> list[Row]:
    """Return the first rows that are of a run; what follows another run's has to wait."""
    found = []
    for row in rows:
        if row[1] != run:
            break
        found.append(row)
    return found


def _fitting(rows: Iterable[Row], room: int, size: Callable[[Row], int]) -> tuple[list[Row], int]:
    """Return the first rows that fit, at least one of the whole bundle, and the room left."""
    found: list[Row] = []
    for row in rows:
        left = room - size(row)
        if left < 0 and (found or room < ROOM):
            break
        found.append(row)
        room = left
    return found, max(room, 0)


def _entry_bytes(row: Row) -> int:
    return len(str(row[7]).encode()) + _ENTRY_BYTES


def _span_bytes(row: Row) -> int:
    return len(row[7]) + _SPAN_BYTES


def _run_of(ask: Ask, number: int) -> tuple[str, RunPart, tuple[ClockPart, ...]]:
    run, *row = ask(
        "SELECT run, boot_id, start_ms, start_monotonic_ms, version, utc_trusted, end_ms, node,"
        " rev FROM run WHERE id = ?", (number,),
    ).fetchone()  # fmt: skip
    clocks = ask(
        "SELECT from_ms, offset_ms, trusted, rev FROM clock WHERE run = ? ORDER BY from_ms",
        (number,),
    )
    row[4] = bool(row[4])
    parts = tuple(ClockPart(at, offset, bool(known), rev) for at, offset, known, rev in clocks)
    return run, RunPart(*row), parts


def _spans(ask: Ask, rows: list[Row]) -> Iterator[SpanPart]:
    """Yield spans with their minutes; those of one block lie together, of all channels."""
    for block_ms, block in groupby(rows, key=itemgetter(4)):
        found: dict[int, list[list[Any]]] = defaultdict(list)
        for channel, *minute in ask(_MINUTES, (block_ms, block_ms + MINUTES * MINUTE_MS)):
            found[channel].append(minute)
        for _, _, name, quantity, _, rev, readings, data, channel in block:
            columns: list[list[int | None]] = [[None] * MINUTES for _ in range(4)]
            for t_ms, *values in found[channel]:
                for column, value in zip(columns, values, strict=True):
                    column[(t_ms - block_ms) // MINUTE_MS] = value
            n, mean, low, high = (tuple(column) for column in columns)
            yield SpanPart(name, quantity, block_ms, rev, readings, data, n, mean, low, high)


def _after(
    position: Position,
    entries: list[Row],
    spans: list[Row],
    lost: list[Row],
) -> Position:
    """Return the position once these are received."""
    journal = position.journal | {int(row[0]): int(row[1]) for row in entries[-1:]}
    rows = {int(row[0]): int(row[5]) for row in spans}
    return Position(
        journal=journal,
        span=max([position.span, *rows]),
        lost=max([position.lost, *(int(row[0]) for row in lost)]),
        rewritten=position.rewritten | {row: rev for row, rev in rows.items() if rev},
    )
