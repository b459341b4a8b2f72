"""Putting a capture on record, in parts: its readings first, then all that was decided.

A cook is listed once its entries are there, so an import that breaks off shows nothing by
halves; the same again completes it.
"""

from __future__ import annotations

import asyncio
from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field, model_validator

from pitlogger.errors import RefusedError, UsageError
from pitlogger.formats.journal_json import load_body
from pitlogger.model.journal import Entry
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality, Site, Tagged
from pitlogger.service.timekeeping import PAPER
from pitlogger.store.rows import JournalRow, RunRow
from pitlogger.views.node import Node
from pitlogger.views.view import View
from pitlogger.web.requests import Ask, Initials

READINGS_A_PART = 20_000  # a few hundredths of a second of the daemon's time
_ENTRIES = 20_000
Name = Annotated[str, Field(min_length=1, max_length=80)]
Milli = Annotated[int, Field(ge=-(1 << 53), le=1 << 53)]
Millis = Annotated[int, Field(ge=-62_135_596_800_000, le=253_402_300_799_000)]  # years 1 to 9999
RunId = Annotated[str, Field(pattern=r"^capture-[0-9a-f]{12}$")]


class ColumnTable(BaseModel):
    """Some readings of one channel, as columns of equal length, in milli-units."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    channel: Name
    quantity: Quantity
    t_ms: Annotated[list[Millis], Field(max_length=READINGS_A_PART)]
    raw: list[Milli | None]
    value: list[Milli | None]
    quality: list[Quality]
    stable: list[bool | None]

    @model_validator(mode="after")
    def _equally_long(self) -> ColumnTable:
        columns: tuple[list[Any], ...] = (self.raw, self.value, self.quality, self.stable)
        if any(len(column) != len(self.t_ms) for column in columns):
            raise ValueError("the columns of a channel have as many values as it has times")
        return self

    def tagged(self) -> list[Tagged]:
        rows = zip(self.t_ms, self.raw, self.value, self.quality, self.stable, strict=True)
        return [
            Tagged(self.channel, t_ms, raw, value, quality, Site.NONE, None, stable)
            for t_ms, raw, value, quality, stable in rows
        ]


class EntryTable(BaseModel):
    """A journal entry and the cooks it belongs to."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    seq: Annotated[int, Field(ge=1, le=1 << 53)]
    t_ms: Millis
    by: Initials = ""
    cook: Name | None = None
    also: Annotated[tuple[Name, ...], Field(max_length=20)] = ()  # further cooks it belongs to
    body: dict[str, Any]


class CaptureAsk(Ask):
    """A part of a capture. ``origin`` is the run and number its cook's start once had."""

    run: RunId
    start_ms: Millis
    end_ms: Millis
    origin: tuple[str, Milli] | None = None
    readings: Annotated[tuple[ColumnTable, ...], Field(max_length=1000)] = ()
    entries: Annotated[tuple[EntryTable, ...], Field(max_length=_ENTRIES)] = ()

    @model_validator(mode="after")
    def _within_its_time(self) -> CaptureAsk:
        times = [entry.t_ms for entry in self.entries]
        times += [t_ms for column in self.readings for t_ms in column.t_ms]
        if not self.start_ms <= min(times, default=self.start_ms):
            raise ValueError("something lies before start_ms")
        if not max(times, default=self.start_ms) <= self.end_ms:
            raise ValueError("something lies after end_ms")
        return self


class ImportedView(View):
    """How much of a capture was put on record."""

    entries: int
    readings: int


def make_import_api(daemon: Node) -> APIRouter:
    """Return the route that takes captures, bound to a daemon."""
    api = APIRouter(prefix="/api/v1")

    @api.post("/record/captures", summary="Put a part of a capture on record; twice does no harm")
    async def add(ask: CaptureAsk) -> ImportedView:
        if ask.origin is not None:
            await _refuse_known(daemon, *ask.origin)
        run = RunRow(ask.run, daemon.config.node.name, "", ask.start_ms, 0, PAPER, True, ask.end_ms)
        rows = [
            JournalRow.of(Entry(ask.run, each.seq, each.t_ms, load_body(each.body), each.by),
                          each.cook, *each.also)
            for each in ask.entries
        ]  # fmt: skip
        readings = [reading for column in ask.readings for reading in column.tagged()]
        if not rows and not readings:
            raise UsageError("there is nothing to put on record: give readings or entries")
        quantities = {column.channel: column.quantity.value for column in ask.readings}
        await asyncio.wrap_future(daemon.store.add_run(run, rows, readings, quantities))
        return ImportedView(entries=len(rows), readings=len(readings))

    return api


async def _refuse_known(daemon: Node, run: str, seq: int) -> None:
    """Refuse a cook that was recorded here: as a second one it would be learned from twice."""
    entry = await daemon.ask(lambda reader: reader.entry(run, seq))
    if entry is not None:
        raise RefusedError(
            f"this cook is on record here already, as {run}/{seq}: nothing was imported"
        )
