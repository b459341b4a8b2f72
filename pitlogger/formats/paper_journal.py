"""A paper log as journal bodies: what ``import`` puts on record.

Rows of one cook become one cook: started, its weighings in the order of a cook, finished.
A paper log has days and no clock, so the weighings of a day lie a minute apart from noon
UTC; a row without a date lies at the start of the epoch and is known by its cook's name.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import count
from typing import cast

from pitlogger.formats.paper_log import PaperRow
from pitlogger.model import journal
from pitlogger.model.cooks import WEIGHABLE, Cook, Piece, Wrap, short_name

_NOON_MS, _MINUTE_MS = 43_200_000, 60_000


@dataclass(frozen=True, slots=True)
class PaperCook:
    """One cook: when it is taken to have begun, and what to journal, with its times."""

    name: str
    start_ms: int
    bodies: tuple[tuple[int, journal.Body], ...]
    by: str = ""
    batch: str = ""  # the import it came with


def cooks_of(rows: Iterable[PaperRow]) -> list[PaperCook]:
    """Return the cooks that the rows amount to, oldest first."""
    grouped: dict[tuple[str, str], list[PaperRow]] = {}
    for row in rows:
        grouped.setdefault((row.cook or row.date or f"line {row.line}", row.date), []).append(row)
    found = [_cook(name, date, of_cook) for (name, date), of_cook in grouped.items()]
    return sorted(found, key=lambda cook: cook.start_ms)


def _cook(name: str, date: str, rows: list[PaperRow]) -> PaperCook:
    day = datetime.fromisoformat(date).replace(tzinfo=UTC).timestamp() * 1000 if date else 0.0
    start_ms = t_ms = round(day) + _NOON_MS
    names = _unique(rows)
    guests = next((row.guests for row in rows if row.guests), None)
    pieces = tuple(_piece(row, id_) for row, id_ in zip(rows, names, strict=True))
    bodies: list[tuple[int, journal.Body]] = [
        (t_ms, journal.CookStarted(Cook(name, pieces, guests=guests)))
    ]
    for checkpoint in WEIGHABLE:
        for row, piece in zip(rows, names, strict=True):
            if (mass := row.masses.get(checkpoint)) is not None:
                t_ms += _MINUTE_MS
                weighed = journal.Weighed(
                    piece, checkpoint, mass.mass_mg, 0, t_ms, interval_mg=mass.interval_mg,
                    timed="unrecorded",
                )  # fmt: skip
                bodies.append((t_ms, weighed))
    bodies += [
        (t_ms, journal.Noted(row.notes, piece))
        for row, piece in zip(rows, names, strict=True)
        if row.notes
    ]
    bodies.append((t_ms + _MINUTE_MS, journal.CookFinished(name)))
    if (told := _meal(rows, names)) is not None:
        bodies.append((t_ms + _MINUTE_MS, told))
    return PaperCook(name, start_ms, tuple(bodies))


def _meal(rows: list[PaperRow], names: list[str]) -> journal.MealTold | None:
    """Return what the rows say of the meal, as an entry of the cook's own journal."""
    came = next((row.came for row in rows if row.came is not None), None)
    left_mg = next((row.left_mg for row in rows if row.left_mg is not None), None)
    tender = tuple(
        journal.Tenderness(name, row.tender)
        for row, name in zip(rows, names, strict=True)
        if row.tender is not None
    )
    if came is None and left_mg is None and not tender:
        return None
    return journal.MealTold("", came, left_mg, tender)


def _unique(rows: list[PaperRow]) -> list[str]:
    """Return the piece ids, counted where they repeat within a cook.

    No line number is in them: a row that is put in above must not make others of them.
    """
    names: list[str] = []
    for row in rows:
        called = short_name(row.cut) if row.piece == f"piece-{row.line}" else row.piece
        names.append(next(name for name in _counted(called) if name not in names))
    return names


def _counted(name: str) -> Iterator[str]:
    yield name
    yield from (f"{name}-{number}" for number in count(2))


def _piece(row: PaperRow, id_: str) -> Piece:
    return Piece(
        id_,
        row.cut,
        count=row.count,
        wrap=cast(Wrap | None, row.wrap),
        pull_at_mc=row.pull_at_mc,
        price_per_kg=row.price_per_kg,
        pit=row.pit,
        supplier=row.supplier,
        grade=row.grade,
    )
