"""The API under ``/api/v1``: everything the command line and the page do.

Described by ``/api/v1/openapi.json``. An error answers with ``{"error": message}``: 400 for
what cannot be used, 409 for what is refused as things stand, 404 for what is not there.
"""

from __future__ import annotations

from dataclasses import asdict

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response, StreamingResponse

from pitlogger.clock import rfc3339
from pitlogger.errors import UsageError, unknown
from pitlogger.model.folding import fold
from pitlogger.notify.deliveries import NoticeView, waiting
from pitlogger.questions import NO_ANSWERS, Answers
from pitlogger.reports.capture_export import capture_lines
from pitlogger.reports.replay_document import yield_rows
from pitlogger.store.queries import Reader
from pitlogger.views.alerts import ToldAlert, alert_view, standing
from pitlogger.views.cooks import CookView, RecordedCook, YieldView
from pitlogger.views.joined import ChartView, JoinedView, Recorded, joined
from pitlogger.views.journal import EntryView, NamedEntry, entry_view
from pitlogger.views.node import Node
from pitlogger.views.shown import units_chosen
from pitlogger.views.status import StatusView, status
from pitlogger.views.view import moment
from pitlogger.web.deliveries import read_notices, told_of
from pitlogger.web.past_entries import journals_text, meal_entries
from pitlogger.web.routes.stream import Pulse, events
from pitlogger.web.routes.writing import add_writes


class SenmlAnswer(StreamingResponse):
    """SenML packs (RFC 8428), one a line: each line is a document, the whole is none."""

    media_type = "application/x-ndjson"


class EventAnswer(StreamingResponse):
    """Server-Sent Events."""

    media_type = "text/event-stream"


LAST_MS = 253_402_300_799_000  # the end of the year 9999


def make_api(daemon: Node) -> APIRouter:
    """Return the routes of the API, bound to a daemon."""
    api = APIRouter(prefix="/api/v1")
    _add_reads(api, daemon)
    add_writes(api, daemon)
    return api


def _add_reads(api: APIRouter, daemon: Node) -> None:
    pulse = Pulse(daemon)

    @api.get("/status", summary="How things stand")
    async def read_status() -> StatusView:
        return status(daemon)

    @api.get("/alerts", summary="Alerts that are not normal, and who was told; pressing ones first")
    async def read_alerts() -> list[ToldAlert]:
        notices = await read_notices(daemon)
        return [
            ToldAlert(**dict(alert_view(daemon, watch)), told=tuple(
                one.view for one in told_of(watch, notices, daemon.utc_offset_ms)
            ))
            for watch in standing(daemon)
        ]  # fmt: skip

    @api.get("/notices", summary="Messages that wait to be sent, the oldest first")
    async def notices() -> list[NoticeView]:
        return await daemon.ask(waiting)

    @api.get("/cooks", summary="All cooks on record, newest first")
    async def cooks(withdrawn: bool = False) -> list[CookView]:
        rows = await daemon.ask(lambda reader: reader.cooks(withdrawn=withdrawn))
        return [
            CookView(
                cook=row.id,
                name=row.name,
                started=rfc3339(row.started_utc_ms),
                finished=moment(row.finished_utc_ms),
                entries=row.entries,
                withdrawn=row.withdrawn,
                batch=row.batch or None,
            )
            for row in rows
        ]

    @api.get("/entries/{entry}", summary="One journal entry by its id, such as k7qm-42")
    async def one_entry(entry: str) -> NamedEntry:
        await daemon.flushed()
        found = await daemon.ask(lambda reader: reader.entries_by_id(entry))
        if len(found) != 1:
            raise UsageError(f"{len(found) or 'no'} entries are known as '{entry}'")
        named, of_cook = found[0]
        return NamedEntry(**dict(entry_view(daemon, named)), of_cook=of_cook)

    @api.get("/journal", summary="Journal entries of a cook, the running one by default")
    async def journal(
        cook: str | None = None, limit: int = Query(500, ge=1, le=10_000)
    ) -> list[EntryView]:
        known = await cook_id(daemon, cook)
        entries = await daemon.ask(
            lambda reader: [*reader.entries(cook=known), *meal_entries(reader, known)]
        )
        return [entry_view(daemon, entry) for entry in entries[-limit:]]

    @api.get(
        "/record",
        response_model=list[RecordedCook],
        summary="Journals of all cooks as far as yields need them, oldest first",
    )
    async def record() -> Response:
        return Response(await daemon.ask(journals_text), media_type="application/json")

    @api.get("/yield", summary="Yield of a cook by step, the running one by default")
    async def yields(cook: str | None = None) -> YieldView:
        known = await cook_id(daemon, cook)
        entries = await daemon.ask(lambda reader: reader.entries(cook=known))
        return YieldView.model_validate({"cook": known, "pieces": yield_rows(fold(entries))})

    @api.get("/chart", summary="Readings in equal buckets: lowest, highest and mean")
    async def chart(
        from_ms: int = Query(ge=-LAST_MS, le=LAST_MS),
        to_ms: int = Query(ge=-LAST_MS, le=LAST_MS),
        channel: list[str] = Query(default=[], max_length=200),  # noqa: B008
        buckets: int = Query(600, ge=1, le=5000),
    ) -> list[ChartView]:  # fmt: skip
        if to_ms <= from_ms:
            raise UsageError(f"from_ms {from_ms} must lie before to_ms {to_ms}")
        wanted = channel or list(daemon.engine.lanes)
        lines = await daemon.ask(
            lambda reader: reader.chart(wanted, from_ms, to_ms, buckets, run=None)
        )
        return [ChartView.model_validate(asdict(line)) for line in lines]

    @api.get("/joined", summary="What a journal says along the time axis of a cook's chart")
    async def joined_chart(cook: str | None = None) -> JoinedView:
        kept = await recorded(daemon, await cook_id(daemon, cook))
        return joined(kept, daemon.policy, daemon.clock.engine_ms() + daemon.utc_offset_ms)

    @api.get(
        "/export",
        response_class=SenmlAnswer,
        summary="A cook as SenML, one pack a line; replays to the same alerts",
    )
    async def export(cook: str | None = None) -> StreamingResponse:
        known = await cook_id(daemon, cook)
        lines = await daemon.ask(lambda reader: list(capture_lines(reader, known)))
        return SenmlAnswer(iter(lines))

    @api.get(
        "/stream",
        response_class=EventAnswer,
        summary="What happens, as Server-Sent Events; ids are run and sequence",
    )
    async def stream(request: Request, figures: bool = False, after: str = "") -> StreamingResponse:
        last_id = request.headers.get("last-event-id", after)
        units = units_chosen(request.cookies, daemon.units) if figures else None
        return EventAnswer(
            events(daemon, pulse, last_id, units),
            headers={"Cache-Control": "no-store"},
        )


async def recorded(daemon: Node, cook: str) -> Recorded:
    """Return a cook as it is kept."""

    def read(reader: Reader) -> Recorded:
        row = next(row for row in reader.cooks(withdrawn=True) if row.id == cook)
        return Recorded(row, reader.entries(cook=cook), reader.clocks())

    return await daemon.ask(read)


async def cook_id(daemon: Node, cook: str | None, answers: Answers = NO_ANSWERS) -> str:
    """Return the id of the cook named, or of the running or the last one.

    Raises:
        UsageError: There is none of that name or id.
        QuestionError: Several cooks have that name.
    """
    kept = await daemon.ask(lambda reader: reader.cooks(withdrawn=True))
    rows = [row for row in kept if not row.withdrawn]
    if cook is None:
        if daemon.cook is not None:
            return daemon.cook
        if rows:
            return rows[0].id
        raise UsageError("there is no cook on record yet")
    if any(cook == row.id for row in kept):
        return cook
    for among in (rows, kept):  # a withdrawn one only where no other has its name
        ids = [row.id for row in among if row.name.casefold() == cook.casefold()]
        if len(ids) > 1:
            return answers.choose(f"{len(ids)} cooks are named '{cook}': which one?", ids)
        if ids:
            return ids[0]
    raise UsageError(
        unknown("cook", cook, [name for row in rows[:10] for name in (row.name, row.id)])
    )
