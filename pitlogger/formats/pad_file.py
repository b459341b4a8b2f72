"""A whole cook from a pad (TOML): a cook file with what was written down, in its order.

    [cook]
    name = "harvest supper"
    started = "2026-09-18 20:00"      # or date = "2026-09-18" where no time was noted

    [[piece]]
    id = "brisket-1"
    cut = "brisket-packer"

    [[entry]]                         # one line of the pad
    piece = "brisket-1"
    checkpoint = "purchased"
    mass = "14.2 lb"
    [[entry]]
    at = "04:10"                      # left out where the pad has no time
    piece = "brisket-1"
    stage = "wrapped"
    wrap = "paper"

A clock time is the first one after the line before it. A line without a time has "time not
recorded": its order counts, and nobody learns how long anything took from it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta, tzinfo
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, model_validator

from pitlogger.clock import ms_of
from pitlogger.errors import CookFileError, PitloggerError
from pitlogger.formats import cook_file
from pitlogger.formats.capture import stage_of
from pitlogger.formats.file_table import FileTable
from pitlogger.formats.moments import TimeRange, moments
from pitlogger.formats.paper_journal import PaperCook
from pitlogger.formats.toml import read_toml
from pitlogger.model import journal
from pitlogger.model.cooks import Stage
from pitlogger.model.readings import Site

StageId = Annotated[Stage, BeforeValidator(lambda value: stage_of(str(value)))]
Choose = Callable[[str, list[datetime]], datetime]
_DAY = timedelta(days=1)


class PadCookTable(cook_file.CookTable):
    """The cook of a pad, with when it was."""

    started: str | None = None
    date: str | None = None


class PadEntry(FileTable):
    """One line of a pad: a weight, a stage, a temperature or a note."""

    at: str | None = None
    piece: cook_file.Id | None = None
    checkpoint: str | None = None
    mass: cook_file.Mass | None = None
    tare: cook_file.Mass | None = None
    stage: StageId | None = None
    wrap: cook_file.WrapId | None = None
    reason: str = ""
    temp: cook_file.Temperature | None = None
    site: cook_file.SiteId | None = None
    probe: str | None = None
    note: str | None = None

    @model_validator(mode="after")
    def _says_one_thing(self) -> PadEntry:
        given = [name for name in ("checkpoint", "stage", "temp", "note")
                 if getattr(self, name) is not None]  # fmt: skip
        if len(given) != 1:
            raise ValueError("an entry is one of checkpoint with mass, stage, temp or note")
        if self.checkpoint is not None and self.mass is None:
            raise ValueError(f"checkpoint '{self.checkpoint}' needs its mass")
        if self.piece is None and given[0] in ("checkpoint", "stage"):
            raise ValueError(f"a {given[0]} is of a piece: name it")
        return self


class PadMeal(FileTable):
    """How the meal went."""

    came: int | None = Field(None, ge=0)
    left: cook_file.Mass | None = None
    tender: dict[str, Annotated[int, Field(ge=1, le=5)]] = Field(default_factory=dict)


class PadFile(cook_file.CookFile):
    """A cook file with the lines of a pad."""

    cook: PadCookTable = PadCookTable()
    entry: tuple[PadEntry, ...] = ()
    meal: PadMeal | None = None

    @model_validator(mode="after")
    def _is_dated(self) -> PadFile:
        if (self.cook.started is None) == (self.cook.date is None):
            raise ValueError("[cook] needs when it was: started = '2026-09-18 20:00', or date")
        return self


def load_pad(path: Path, now: datetime, choose: Choose, zone: tzinfo | None = None) -> PaperCook:
    """Return the cook that a pad file tells of.

    Args:
        path: The file.
        now: The moment, with its offset.
        choose: Answers which of several moments a text means.
        zone: Where the clock hung; the system's by default.

    Raises:
        CookFileError: With ``file:line``, what was given and what was expected.
    """
    pad = read_toml(path, PadFile, CookFileError)
    pieces = {piece.id for piece in pad.piece}
    for number, entry in enumerate(pad.entry, start=1):
        if entry.piece is not None and entry.piece not in pieces:
            raise CookFileError(
                f"{path}: entry {number} is of piece '{entry.piece}', which [[piece]] does not"
                f" name; known: {', '.join(sorted(pieces))}"
            )
    try:
        return _cook(pad, now, choose, zone)
    except PitloggerError as fault:
        raise type(fault)(f"{path}: {fault}") if type(fault) is CookFileError else fault from None


def _cook(pad: PadFile, now: datetime, choose: Choose, zone: tzinfo | None) -> PaperCook:
    written = pad.cook.started or f"{pad.cook.date} 12:00"
    start = _one(written, moments(written, TimeRange(None, now), zone), choose)
    if start > now:
        raise CookFileError(f"the cook starts at {start.isoformat()}, which lies ahead")
    start_ms = ms_of(start)
    cook = pad.to_cook()
    bodies: list[tuple[int, journal.Body]] = [(start_ms, journal.CookStarted(cook))]
    last = start
    for entry in pad.entry:
        timed: Literal["stated", "unrecorded"] = "unrecorded"
        if entry.at is not None:
            span = TimeRange(last, min(now, last + _DAY))
            last = _one(entry.at, moments(entry.at, span, zone), choose)
            timed = "stated"
        bodies += [(ms_of(last), body) for body in _bodies(entry, ms_of(last), timed)]
    end_ms = max(t_ms for t_ms, _ in bodies)
    bodies.sort(key=lambda dated: dated[0])
    bodies.append((end_ms, journal.CookFinished(cook.name)))
    if (meal := pad.meal) is not None:
        marks = tuple(journal.Tenderness(piece, mark) for piece, mark in meal.tender.items())
        bodies.append((end_ms, journal.MealTold("", meal.came, meal.left, marks)))
    return PaperCook(cook.name, start_ms, tuple(bodies))


def _bodies(
    entry: PadEntry, at_ms: int, timed: Literal["stated", "unrecorded"]
) -> Iterator[journal.Body]:
    if entry.checkpoint is not None and entry.mass is not None and entry.piece is not None:
        tare = entry.tare or 0
        yield journal.Weighed(entry.piece, entry.checkpoint, entry.mass, tare, at_ms, timed=timed)
    elif entry.stage is not None and entry.piece is not None:
        yield journal.StageSet(
            entry.piece, entry.stage, at_ms, entry.wrap, timed, False, entry.mass, entry.reason
        )
    elif entry.temp is not None:
        site = entry.site or Site.SPOT
        yield journal.SpotRead(entry.temp, at_ms, entry.piece, site, entry.probe, timed=timed)
    elif entry.note is not None:
        yield journal.Noted(entry.note, entry.piece)


def _one(text: str, found: tuple[datetime, ...], choose: Choose) -> datetime:
    return found[0] if len(found) == 1 else choose(text, list(found))
