"""A cook as flat tables: what CSV, JSON Lines and XLSX are written from.

Columns of masses and lengths of time end in their unit; moments are UTC. No name is a reserved
word of SQL.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import chain
from typing import Literal

from pitlogger.clock import rfc3339
from pitlogger.errors import UsageError, unknown
from pitlogger.formats.journal_json import dump_body
from pitlogger.model.alerts import alert_class
from pitlogger.model.book import Book
from pitlogger.model.folding import fold
from pitlogger.model.journal import AlertChanged, Entry
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Site
from pitlogger.reports.cook_record import Wall, named_cook
from pitlogger.store.queries import Reader
from pitlogger.store.rows import StoredReading

SCHEMA = 1
Value = str | int | float | bool | None
Type = Literal["text", "time", "number", "whole", "flag"]
Row = tuple[Value, ...]
READING_UNIT = {
    Quantity.TEMPERATURE: ("C", 1_000.0),
    Quantity.MASS: ("g", 1_000.0),
    Quantity.HUMIDITY: ("%", 1_000.0),
    Quantity.BATTERY: ("%", 1_000.0),
    Quantity.SIGNAL: ("dBm", 1_000.0),
    Quantity.PRESSURE: ("Pa", 1_000.0),
    Quantity.VOLTAGE: ("V", 1_000.0),
}


@dataclass(frozen=True, slots=True)
class Column:
    name: str
    type: Type


@dataclass(frozen=True, slots=True)
class FlatTable:
    """Rows under typed columns; the rows may be read once only."""

    name: str
    columns: tuple[Column, ...]
    rows: Iterable[Row]

    @property
    def heads(self) -> list[str]:
        return [column.name for column in self.columns]


def _columns(**types: Type) -> tuple[Column, ...]:
    return tuple(Column(name, type_) for name, type_ in types.items())


READINGS = _columns(
    utc="time", channel="text", site="text", piece="text", quantity="text", value="number",
    as_delivered="number", unit="text", quality="text", stable="flag", run="text",
)  # fmt: skip
WEIGHINGS = _columns(
    utc="time", piece="text", checkpoint="text", net_g="number", gross_g="number", tare_g="number",
    scale_interval_g="number", source="text", channel="text", container="text", corrected="flag",
    initials="text", run="text", seq="whole",
)  # fmt: skip
STAGES = _columns(
    piece="text", cut="text", stage="text", from_utc="time", to_utc="time", length_s="number",
)  # fmt: skip
ALERTS = _columns(
    utc="time", alert="text", kind="text", alert_class="text", priority="text", state="text",
    was="text", piece="text", channel="text", value="number", unit="text", message="text",
    initials="text", run="text", seq="whole",
)  # fmt: skip
JOURNAL = _columns(utc="time", run="text", seq="whole", kind="text", initials="text", entry="text")
NAMES = ("readings", "weighings", "stages", "alerts", "journal")


def tables(reader: Reader, cook: str | None, wanted: Iterable[str] = NAMES) -> list[FlatTable]:
    """Return tables of a cook, the last one by default.

    Raises:
        UsageError: No such cook or table.
        RefusedError: Nothing is on record.
    """
    row = named_cook(reader, cook)
    entries = reader.entries(cook=row.id)
    book = fold(entries)
    wall = Wall(tuple(reader.clocks()))
    runs = dict.fromkeys(entry.run for entry in entries)
    end_ms = row.finished_ms or max(reader.last_ms(run) for run in runs)
    makers: dict[str, Callable[[], FlatTable]] = {
        "readings": lambda: FlatTable(
            "readings",
            READINGS,
            chain(
                (
                    _reading(kept, book, wall)
                    for run in runs
                    for kept in reader.readings(None, row.started_ms, end_ms + 1, run=run)
                ),
                _by_hand(book, wall),
            ),
        ),
        "weighings": lambda: FlatTable("weighings", WEIGHINGS, list(_weighings(book, wall))),
        "stages": lambda: FlatTable("stages", STAGES, list(_stages(book, wall))),
        "alerts": lambda: FlatTable("alerts", ALERTS, list(_alerts(entries, wall))),
        "journal": lambda: FlatTable("journal", JOURNAL, [_entry(e, wall) for e in entries]),
    }
    for name in wanted:
        if name not in makers:
            raise UsageError(unknown("table", name, NAMES))
    return [makers[name]() for name in wanted]


def _utc(wall: Wall, t_ms: int) -> str:
    return rfc3339(wall.utc_ms(t_ms))


def quantity_of(book: Book, channel: str, t_ms: int) -> tuple[Quantity, Site, str | None]:
    """Return what a channel measured at a time, where it sat and of which piece."""
    held = book.assignment(channel, t_ms) or book.assignment(channel)
    if held is None:
        return Quantity.TEMPERATURE, Site.NONE, None
    placed = held.channel
    return placed.quantity or placed.site.usual_quantity, placed.site, placed.piece


def _reading(kept: StoredReading, book: Book, wall: Wall) -> Row:
    quantity, site, piece = quantity_of(book, kept.channel, kept.t_ms)
    unit, milli = READING_UNIT.get(quantity, ("", 1_000.0))
    value = None if kept.value is None else kept.value / milli
    raw = None if kept.raw is None else kept.raw / milli
    return (
        _utc(wall, kept.t_ms), kept.channel, site.value, piece, quantity.value, value, raw, unit,
        kept.quality.value, kept.stable, kept.run,
    )  # fmt: skip


def _by_hand(book: Book, wall: Wall) -> Iterator[Row]:
    """Yield hand readings after those of channels; one without a time has none."""
    for entry, spot in book.spots:
        at = None if spot.timed == "unrecorded" else _utc(wall, spot.at_ms)
        value_c = spot.value_mc / 1000
        yield (
            at, f"{spot.piece or spot.site}/spot", spot.site.value, spot.piece,
            Quantity.TEMPERATURE.value, value_c, value_c, "C", "good", None, entry.run,
        )  # fmt: skip


def _weighings(book: Book, wall: Wall) -> Iterator[Row]:
    for held in book.pieces.values():
        for kept in held.weighings:
            weighed = kept.weighed
            yield (
                _utc(wall, weighed.at_ms), weighed.piece, weighed.checkpoint,
                weighed.net_mg / 1000, weighed.gross_mg / 1000, weighed.tare_mg / 1000,
                weighed.interval_mg / 1000, weighed.source, weighed.channel, weighed.container,
                kept.corrected, kept.by, kept.id[0], kept.id[1],
            )  # fmt: skip


def _stages(book: Book, wall: Wall) -> Iterator[Row]:
    for held in book.pieces.values():
        for span in held.spans():
            length_s = None if span.to_ms is None else (span.to_ms - span.from_ms) / 1000
            until = None if span.to_ms is None else _utc(wall, span.to_ms)
            piece = held.piece
            yield piece.id, piece.cut, span.stage.value, _utc(wall, span.from_ms), until, length_s


def _alerts(entries: Iterable[Entry], wall: Wall) -> Iterator[Row]:
    for entry in entries:
        if isinstance(body := entry.body, AlertChanged):
            yield (
                _utc(wall, entry.t_ms), body.alert, body.alert_kind,
                alert_class(body.alert_kind), body.priority.label, body.now.value,
                body.was.value, body.piece, body.channel,
                None if body.value is None else body.value / 1000,
                None if body.unit is None else {"c": "C", "g": "g"}[body.unit], body.message,
                entry.by, entry.run, entry.seq,
            )  # fmt: skip


def _entry(entry: Entry, wall: Wall) -> Row:
    import json

    text = json.dumps(dump_body(entry.body), ensure_ascii=False, separators=(",", ":"))
    return _utc(wall, entry.t_ms), entry.run, entry.seq, entry.body.kind, entry.by, text
