"""The API under ``/api/v1``: everything the command line and the page do.

Described by ``/api/v1/openapi.json``. An error answers with ``{"error": message}``: 400 for
what cannot be used, 409 for what is refused as things stand, 404 for what is not there.
"""

from __future__ import annotations

import json
from collections.abc import AsyncIterator
from typing import Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse, StreamingResponse

from pitlogger.bootstrap import with_configured
from pitlogger.clock import rfc3339
from pitlogger.daemon import Daemon
from pitlogger.errors import UsageError, unknown
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.book import fold
from pitlogger.model.journal import (
    AlertActed,
    Body,
    ChannelAssigned,
    CookFinished,
    CookStarted,
    Noted,
    PieceAdded,
    PiecesMerged,
    PieceSplit,
    StageSet,
    TargetSet,
)
from pitlogger.reports.capture_export import capture_lines
from pitlogger.reports.replay_document import yield_rows
from pitlogger.store.rows import CookRow
from pitlogger.web import asks, bodies, views


def make_api(daemon: Daemon) -> APIRouter:
    """Return the routes of the API, bound to a daemon."""
    api = APIRouter(prefix="/api/v1")
    _add_reads(api, daemon)
    _add_writes(api, daemon)
    _add_alert_writes(api, daemon)
    return api


async def _decide(daemon: Daemon, body: Body, ask: asks.Ask) -> dict[str, Any]:
    entry = await daemon.submit(body, ask.by, ask.key)
    return views.entry_view(daemon, entry)


def _add_reads(api: APIRouter, daemon: Daemon) -> None:
    @api.get("/status", summary="How things stand")
    async def status() -> dict[str, Any]:
        return views.status(daemon)

    @api.get("/alerts", summary="Alerts that are not normal, the most pressing first")
    async def alerts() -> list[dict[str, Any]]:
        return views.alerts(daemon)

    @api.get("/cooks", summary="All cooks on record, newest first")
    async def cooks() -> list[dict[str, Any]]:
        rows: list[CookRow] = await daemon.ask(lambda reader: reader.cooks())
        return [
            {
                "cook": row.id,
                "name": row.name,
                "started": rfc3339(row.started_ms),
                "finished": None if row.finished_ms is None else rfc3339(row.finished_ms),
                "entries": row.entries,
            }
            for row in rows
        ]

    @api.get("/journal", summary="Journal entries of a cook, the running one by default")
    async def journal(cook: str | None = None, limit: int = Query(500, ge=1, le=10_000)) -> Any:
        known = await _cook_id(daemon, cook)
        entries = await daemon.ask(lambda reader: reader.entries(cook=known))
        return [views.entry_view(daemon, entry) for entry in entries[-limit:]]

    @api.get("/yield", summary="Yield of a cook by step, the running one by default")
    async def yields(cook: str | None = None) -> dict[str, Any]:
        known = await _cook_id(daemon, cook)
        entries = await daemon.ask(lambda reader: reader.entries(cook=known))
        return {"cook": known, "pieces": yield_rows(fold(entries))}

    @api.get("/chart", summary="Readings in equal buckets: lowest, highest and mean")
    async def chart(
        from_ms: int, to_ms: int, channel: list[str] = Query(default=[]),  # noqa: B008
        buckets: int = Query(600, ge=1, le=5000),
    ) -> list[dict[str, Any]]:  # fmt: skip
        if to_ms <= from_ms:
            raise UsageError(f"from_ms {from_ms} must lie before to_ms {to_ms}")
        wanted = channel or list(daemon.engine.lanes)
        lines = await daemon.ask(
            lambda reader: reader.chart(wanted, from_ms, to_ms, buckets, run=None)
        )
        return [
            {
                "channel": line.channel,
                "at_ms": line.at_ms,
                "low": line.low,
                "high": line.high,
                "mean": line.mean,
                "readings": line.readings,
            }
            for line in lines
        ]

    @api.get("/export", summary="A cook as SenML, one pack a line; replays to the same alerts")
    async def export(cook: str | None = None) -> StreamingResponse:
        known = await _cook_id(daemon, cook)
        lines = await daemon.ask(lambda reader: list(capture_lines(reader, known)))
        return StreamingResponse(iter(lines), media_type="application/senml+json")

    @api.get("/stream", summary="What happens, as Server-Sent Events; ids are run and sequence")
    async def stream(request: Request) -> StreamingResponse:
        return StreamingResponse(
            _events(daemon, request.headers.get("last-event-id")),
            media_type="text/event-stream",
            headers={"Cache-Control": "no-store"},
        )


async def _cook_id(daemon: Daemon, cook: str | None) -> str:
    """Return the id of the cook named, or of the running or the last one."""
    rows: list[CookRow] = await daemon.ask(lambda reader: reader.cooks())
    if cook is None:
        if daemon.cook is not None:
            return daemon.cook
        if rows:
            return rows[0].id
        raise UsageError("there is no cook on record yet")
    for row in rows:
        if cook in (row.id, row.name):
            return row.id
    raise UsageError(unknown("cook", cook, [row.id for row in rows[:20]]))


async def _events(daemon: Daemon, last_id: str | None) -> AsyncIterator[str]:
    """Yield a snapshot, what was missed since ``last_id``, then what happens."""
    async with daemon.fanout.listen() as queue:
        yield "retry: 2000\n\n"
        yield _event("status", views.status(daemon))
        if last_id and "/" in last_id:
            run, _, seq = last_id.partition("/")
            if seq.isdigit():
                after = (run, int(seq))
                missed = await daemon.ask(lambda reader: reader.entries(after=after, limit=1000))
                for entry in missed:
                    view = views.entry_view(daemon, entry)
                    yield _event("entry", view, f"{entry.run}/{entry.seq}")
        while not daemon.stopping.is_set():
            happening = await daemon.next_happening(queue)
            if happening is None:
                yield ": still here\n\n"
            else:
                yield _event(happening.kind, happening.data, happening.id)


def _event(kind: str, data: Any, event_id: str = "") -> str:
    head = f"id: {event_id}\n" if event_id else ""
    return f"{head}event: {kind}\ndata: {json.dumps(data, ensure_ascii=False)}\n\n"


def _add_writes(api: APIRouter, daemon: Daemon) -> None:
    @api.post("/cooks", summary="Start a cook from a cook file's text")
    async def start_cook(ask: asks.CookAsk) -> dict[str, Any]:
        cook = with_configured(parse_cook(ask.toml), daemon.channels)
        return await _decide(daemon, CookStarted(cook), ask)

    @api.post("/cooks/finish", summary="Finish the running cook")
    async def finish_cook(ask: asks.FinishAsk) -> dict[str, Any]:
        cook = daemon.engine.book.cook
        return await _decide(daemon, CookFinished("" if cook is None else cook.name), ask)

    @api.post("/pieces", summary="Add a piece to the running cook")
    async def add_piece(ask: asks.PieceAsk) -> dict[str, Any]:
        return await _decide(daemon, PieceAdded(ask.piece.piece()), ask)

    @api.post("/pieces/{piece}/split", summary="Split a piece into several")
    async def split_piece(piece: str, ask: asks.SplitAsk) -> dict[str, Any]:
        children = tuple(table.piece() for table in ask.into)
        return await _decide(daemon, PieceSplit(piece, children), ask)

    @api.post("/merge", summary="Merge several pieces into one")
    async def merge_pieces(ask: asks.MergeAsk) -> dict[str, Any]:
        return await _decide(daemon, PiecesMerged(ask.pieces, ask.into.piece()), ask)

    @api.post("/assignments", summary="Say where a channel sits from now on")
    async def assign_channel(ask: asks.AssignAsk) -> dict[str, Any]:
        return await _decide(daemon, ChannelAssigned(ask.channel.channel(), ask.lead), ask)

    @api.post("/stages", summary="Set the stage of a piece, now or in the past")
    async def set_stage(ask: asks.StageAsk) -> dict[str, Any]:
        at_ms = ask.at or daemon.clock.engine_ms()
        return await _decide(daemon, StageSet(ask.piece, ask.stage, at_ms, ask.wrap), ask)

    @api.post("/weighings", summary="Keep a mass: typed, or what is steady on a scale")
    async def weigh(ask: asks.WeighAsk) -> dict[str, Any]:
        body = bodies.weighed(daemon.engine, ask, daemon.clock.engine_ms())
        kept = await _decide(daemon, body, ask)
        return {**kept, "net_g": body.net_mg / 1000, "doubts": daemon.doubts_of(body.piece)}

    @api.post("/tares", summary="Take what is on a scale as container")
    async def tare(ask: asks.TareAsk) -> dict[str, Any]:
        return await _decide(daemon, bodies.tared(daemon.engine, ask), ask)

    @api.post("/temps", summary="Enter a hand probe's reading")
    async def spot(ask: asks.TempAsk) -> dict[str, Any]:
        return await _decide(daemon, bodies.spot_read(ask, daemon.clock.engine_ms()), ask)

    @api.post("/notes", summary="Write a note")
    async def note(ask: asks.NoteAsk) -> dict[str, Any]:
        return await _decide(daemon, Noted(ask.text, ask.piece), ask)

    @api.post("/targets", summary="Set the wrap or pull temperature of a piece")
    async def target(ask: asks.TargetAsk) -> dict[str, Any]:
        return await _decide(daemon, TargetSet(ask.piece, ask.wrap_at, ask.pull_at), ask)

    @api.post("/undo", summary="Take an entry back; the last decision if none is named")
    async def undo(ask: asks.UndoAsk) -> dict[str, Any]:
        return await _decide(daemon, bodies.undone(daemon.engine, ask), ask)

    @api.post("/corrections", summary="Correct an entry; the old one stays visible")
    async def correct(ask: asks.CorrectAsk) -> dict[str, Any]:
        return await _decide(daemon, bodies.corrected(daemon.engine, ask), ask)


def _add_alert_writes(api: APIRouter, daemon: Daemon) -> None:
    @api.post("/alerts/{alert:path}/acknowledge", summary="Got it")
    async def acknowledge(alert: str, ask: asks.AlertAsk) -> dict[str, Any]:
        return await _decide(daemon, AlertActed(alert, "acknowledge", reason=ask.reason), ask)

    @api.post("/alerts/{alert:path}/shelve", summary="Mute for some minutes, with a reason")
    async def shelve(alert: str, ask: asks.ShelveAsk) -> dict[str, Any]:
        until_ms = daemon.clock.engine_ms() + round(ask.minutes * 60_000)
        return await _decide(daemon, AlertActed(alert, "shelve", until_ms, ask.reason), ask)

    @api.post("/alerts/{alert:path}/unshelve", summary="End the muting")
    async def unshelve(alert: str, ask: asks.AlertAsk) -> dict[str, Any]:
        return await _decide(daemon, AlertActed(alert, "unshelve", reason=ask.reason), ask)

    @api.post("/alerts/{alert:path}/reset", summary="Settle a latched alert, saying what was done")
    async def reset(alert: str, ask: asks.AlertAsk) -> dict[str, Any]:
        return await _decide(daemon, AlertActed(alert, "reset", reason=ask.reason), ask)


def error_answer(status: int, message: str) -> JSONResponse:
    """Return an error as the API tells it."""
    return JSONResponse({"error": message}, status_code=status)
