"""The screens of a job: four answers, what they come to, what follows from a change, papers."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any
from urllib.parse import parse_qsl, urlencode

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import ValidationError

from pitlogger.errors import FieldError, PitloggerError, RefusedError, UsageError, unknown
from pitlogger.formats.job_file import parse_job
from pitlogger.model.cooks import CUTS
from pitlogger.node.job_shelf import KeptJob, job_id
from pitlogger.node.register import read_register
from pitlogger.planning.fields import known_cut, moment_ms
from pitlogger.planning.job.answer import JobAnswer
from pitlogger.planning.job.change import follows
from pitlogger.planning.job.first_file import first_job
from pitlogger.planning.job.months import by_month
from pitlogger.planning.job.prices import ask_prices, price_doubts
from pitlogger.planning.job.times import check_serving_time
from pitlogger.questions import Answers, QuestionError
from pitlogger.views.language import tr, trn
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.web.page.ahead.job_fields import TABLES, edited, groups, label_of
from pitlogger.web.page.ahead.job_shown import shown_job
from pitlogger.web.page.ahead.plan import calendar_of
from pitlogger.web.page.ahead.plan_fields import whole
from pitlogger.web.page.plain_words import shortened
from pitlogger.web.page.records.printing import as_served, sheet_html
from pitlogger.web.page.view import refused, screen, shown_to
from pitlogger.web.routes.error_answers import status_of
from pitlogger.web.routes.jobs import IssueAsk, answered, issued, shelf_of

SHEETS = ("shopping", "run-sheet", "packing")
MOST_FIELDS = 400
_PLACE = re.compile(r"^[\w.-]+:\d+: ")
# A key at fault, its value said twice: meat.0.price = 'x': 'x' is not a price
_PATH = re.compile(rf"^'?((?:{'|'.join(TABLES)})(?:\.\w+)+)'?(?: = .*?(?=: ['\d-]))?")
_LISTED = re.compile(r"\.\d+$")  # the number of a part of a list that is typed in one field
FIRST_DISHES = range(1, 4)


def add_jobs(page: APIRouter, daemon: Node) -> None:
    """Add the screens of jobs."""

    @page.get("/job")
    async def jobs(request: Request) -> HTMLResponse:
        return await _jobs(daemon, request)

    @page.post("/job")
    async def new(request: Request) -> Response:
        typed = _typed(await request.body())
        try:
            name, text = _first(typed, daemon.clock.utc_ms())
            await asyncio.to_thread(shelf_of(daemon).keep, name, text, None)
        except PitloggerError as fault:
            values = await _overview(daemon, typed, fault)
            return screen(daemon, request, "jobs.html", values, status_of(fault))
        return RedirectResponse(f"/job/{name}", 303)

    @page.get("/sales")
    async def sales(request: Request) -> HTMLResponse:
        return screen(daemon, request, "sales.html", await _sales(daemon))

    @page.get("/job/{job}")
    async def one(job: str, request: Request) -> HTMLResponse:
        try:
            kept = await asyncio.to_thread(shelf_of(daemon).read, job)
        except UsageError as fault:
            return refused(daemon, request, str(fault), "/job", 404)
        return await _screen(daemon, request, kept, {}, None)

    @page.post("/job/{job}")
    async def change(job: str, request: Request) -> Response:
        typed = _typed(await request.body())
        fields = dict(typed)
        answers = Answers.of(typed.pop("confirm", ""))
        keeps, seen = typed.pop("do", "see") == "keep", typed.pop("seen", "")
        shelf = shelf_of(daemon)
        try:
            kept = await asyncio.to_thread(shelf.read, job)
        except UsageError as fault:
            return refused(daemon, request, str(fault), "/job", 404)
        try:
            if kept.version != seen:
                raise RefusedError(tr("Somebody changed this job meanwhile; nothing was kept."))
            text = edited(kept.text, typed)
            if not keeps:
                return await _screen(daemon, request, kept, typed, text)
            source = parse_job(text)
            await answered(daemon, source)  # refused before it is kept, not after
            ask_prices(price_doubts(source, daemon.config.units.currency), answers)
            await asyncio.to_thread(shelf.keep, job, text, seen)
        except QuestionError as fault:
            here = f"/job/{job}"
            values = {"asked": fault.asked, "fields": fields, "action": here, "back": here}
            return screen(daemon, request, "question.html", values, 409)
        except PitloggerError as fault:
            return await _screen(daemon, request, kept, typed, None, fault)
        return RedirectResponse(f"/job/{job}", 303)

    _add_papers(page, daemon)

    @page.get("/job/{job}/calendar")
    async def moments(job: str, request: Request) -> Response:
        try:
            kept = await asyncio.to_thread(shelf_of(daemon).read, job)
            times = shown_job(await answered(daemon, kept.file), shown_to(daemon, request))["times"]
        except PitloggerError as fault:
            return refused(daemon, request, said(fault), "/job", status_of(fault))
        if not times:
            reason = tr("Say when it is served: then there is something to put into a calendar.")
            return refused(daemon, request, reason, f"/job/{job}", 422)
        text = calendar_of(times, kept.file.job.name or job, daemon.clock.utc_ms())
        return Response(text, media_type="text/calendar; charset=utf-8")

    @page.get("/job/{job}/{sheet}")
    async def sheet(job: str, sheet: str, request: Request) -> HTMLResponse:
        try:
            text = await _sheet(daemon, job, sheet, shown_to(daemon, request))
        except PitloggerError as fault:
            return refused(daemon, request, str(fault), "/job", status_of(fault))
        return as_served(text, f"{job}-{sheet}" if "keep" in request.query_params else "")


def _add_papers(page: APIRouter, daemon: Node) -> None:
    @page.post("/papers")
    async def issue(request: Request) -> Response:
        form = _typed(await request.body())
        back = f"/job/{form.get('job', '')}"
        try:
            made = await issued(daemon, IssueAsk.model_validate(form))
        except QuestionError as fault:
            values = {"asked": fault.asked, "fields": form, "action": "/papers", "back": back}
            return screen(daemon, request, "question.html", values, 409)
        except ValidationError:
            return refused(daemon, request, tr("That form cannot be read."), "/job", 400)
        except PitloggerError as fault:
            return refused(daemon, request, said(fault), back, status_of(fault))
        if not made:
            message = tr("Nothing to issue: the last one says the same.")
            return refused(daemon, request, message, back, 200)
        return RedirectResponse(f"{back}#papers", 303)

    @page.get("/papers/{number}")
    async def paper(number: str, request: Request) -> HTMLResponse:
        from pitlogger.reports.papers import paper_sheet

        found = await asyncio.to_thread(read_register, shelf_of(daemon).register)
        version = request.query_params.get("version", "")
        chosen = [p for p in found if p.number == number and version in ("", str(p.version))]
        if not chosen:
            message = unknown("paper", number, [one.number for one in found])
            return refused(daemon, request, message, "/job", 404)
        text = await asyncio.to_thread(
            lambda: sheet_html(paper_sheet(asdict(chosen[-1]), daemon.config.node.name))
        )
        return as_served(text, number if "keep" in request.query_params else "")


async def _jobs(daemon: Node, request: Request) -> HTMLResponse:
    """Return the screen of all jobs, with the answers that Plan leads here with."""
    asked = dict(request.query_params)  # the first cut of Plan has no number
    asked |= {f"{name}-1": asked[name] for name in ("cut", "share") if name in asked}
    return screen(daemon, request, "jobs.html", await _overview(daemon, asked))


def said(fault: PitloggerError) -> str:
    """Return what is wrong with a field, by the labels of the form."""
    if isinstance(fault, FieldError):
        return shortened(fault.worded(lambda field: tr(label_of(field))))
    line = _PLACE.sub("", str(fault).splitlines()[0])
    found = _PATH.match(line)
    return shortened(line if found is None else f"{tr(label_of(found[1]))}{line[found.end() :]}")


def _at_fault(fault: PitloggerError | None) -> str:
    """Return the name of the field at fault in the form of a job, nothing where none is known."""
    if isinstance(fault, FieldError):
        return fault.field if "." in fault.field else f"job.{fault.field}"
    found = _PATH.match(_PLACE.sub("", str(fault)))
    return _LISTED.sub("", found[1]) if found else ""


def _of_first(field: str) -> str:
    """Return the name in the form of a new job of what a job calls its field."""
    *way, last = field.split(".")
    return f"{last.removesuffix('_pct')}-{int(way[1]) + 1}" if len(way) > 1 else last


def _typed(body: bytes) -> dict[str, str]:
    """Return the fields of a form, empty ones too: what was emptied is taken out."""
    try:
        pairs = parse_qsl(body.decode(), keep_blank_values=True, max_num_fields=MOST_FIELDS)
    except ValueError:
        raise UsageError("the form cannot be read") from None
    return {name: value.strip() for name, value in pairs}


def _first(typed: Mapping[str, str], now_ms: int) -> tuple[str, str]:
    """Return the id and text of a job from its four answers."""
    guests = whole(typed.get("guests", ""), "job.guests")
    at_ms = moment_ms(typed.get("serve_at", ""), "job.serve_at")
    check_serving_time(at_ms, now_ms)
    at = datetime.fromtimestamp(at_ms / 1000).astimezone()
    rows = [(typed.get(f"cut-{row}", ""), typed.get(f"share-{row}", "")) for row in FIRST_DISHES]
    chosen = [(known_cut(cut, "meat.0.cut"), share) for cut, share in rows if cut]
    if not chosen:
        raise FieldError("meat.0.cut", "choose what is served")
    shares = _shares([share for _, share in chosen])
    dishes = [(cut, share) for (cut, _), share in zip(chosen, shares, strict=True)]
    name = typed.get("name") or f"{typed.get('place') or 'job'} {at:%Y-%m-%d}"
    text = first_job(dishes, guests, at.isoformat(timespec="minutes"), typed.get("place", ""), name)
    return job_id(name), text


def _shares(texts: list[str]) -> list[str]:
    """Return the shares of the dishes; alike where none is given."""
    if any(texts):
        for text in texts:
            if not re.fullmatch(r"\d+(\.\d+)?", text):
                raise FieldError("meat.0.share_pct", f"'{text}' is not a number")
        return texts
    each = 100 // len(texts)
    return [str(100 - each * (len(texts) - 1)), *[str(each)] * (len(texts) - 1)]


async def _overview(
    daemon: Node, typed: Mapping[str, str], fault: PitloggerError | None = None
) -> dict[str, Any]:
    shelf = shelf_of(daemon)
    ids = await asyncio.to_thread(shelf.ids)
    return {
        "sentence": tr("One job from the enquiry to the invoice: four answers make a first quote."),
        "jobs": ids, "typed": typed, "cuts": CUTS, "rows": FIRST_DISHES,
        "fault": said(fault) if fault else "", "at_fault": _of_first(_at_fault(fault)),
    }  # fmt: skip


async def _sales(daemon: Node) -> dict[str, Any]:
    """Return what the jobs brought in by month and dish; what cannot be read is named."""
    shelf, jobs, faults = shelf_of(daemon), [], []
    for job in await asyncio.to_thread(shelf.ids):
        try:
            kept = await asyncio.to_thread(shelf.read, job)
            jobs.append((kept.file, await answered(daemon, kept.file)))
        except PitloggerError as fault:
            faults.append(f"{job}: {said(fault)}")
    values: dict[str, Any] = {"months": [], "dishes": [], "events": [], "currency": ""}
    try:
        values |= by_month(jobs)
    except FieldError as fault:
        faults.append(said(fault))
    counted = trn(
        "{count} job, as it went or as planned.",
        "{count} jobs, as they went or as planned.",
        len(values["events"]),
    )
    none = tr("No job yet: under Jobs four answers make one, and what it earns is shown here.")
    return values | {"sentence": counted if values["events"] else none, "faults": faults}


async def _screen(
    daemon: Node,
    request: Request,
    kept: KeptJob,
    typed: Mapping[str, str],
    text: str | None,
    fault: PitloggerError | None = None,
) -> HTMLResponse:
    """Return a job's screen.

    Args:
        kept: As it is kept.
        typed: What was typed over it.
        text: The job as it would be; then what follows is shown, and nothing is kept yet.
        fault: Why it was refused.
    """
    shown, values = shown_to(daemon, request), dict[str, Any]()
    try:
        answer = await answered(daemon, kept.file)
        if text is not None:
            after = await answered(daemon, parse_job(text))
            values["follows"] = follows(answer, after)
            answer = after
        values |= shown_job(answer, shown) | {"begin": begin_link(kept, answer)}
    except PitloggerError as found:
        fault = fault or found
    form = groups(kept.text, typed)
    cooks = await daemon.ask(lambda reader: [row.id for row in reader.cooks()])
    papers = await asyncio.to_thread(read_register, shelf_of(daemon).register)
    return screen(
        daemon, request, "job.html",
        {
            "sentence": tr("This job has no answer yet."), "job": kept.id, "seen": kept.version,
            "name": kept.file.job.name or kept.id, "groups": form, "cooks": cooks,
            "fault": said(fault) if fault else "", "at_fault": _at_fault(fault),
            "papers": [one for one in papers if one.job == kept.file.job.name],
            "buy": [], "assumed": [], **values,
        },
        status_of(fault) if fault else 200,
    )  # fmt: skip


def begin_link(kept: KeptJob, answer: JobAnswer) -> str:
    """Return where the cook of a job begins: the form with what the job knows already."""
    known: dict[str, Any] = {
        "job": kept.id,
        "name": answer.job,
        "guests": answer.guests + answer.children,
    }
    at = kept.file.job.serve_at
    if at is not None:
        known["serve_at"] = f"{at.astimezone():%Y-%m-%dT%H:%M}"
    for row, dish in enumerate(answer.dishes, start=1):
        tail = "" if row == 1 else f"-{row}"
        known |= {f"cut{tail}": dish.cut, f"count{tail}": dish.pieces}
    return f"/begin?{urlencode(known)}"


async def _sheet(daemon: Node, job: str, sheet: str, shown: Shown) -> str:
    from pitlogger.reports.job_sheets import packing_list, run_sheet, shopping_by_supplier

    if sheet not in SHEETS:
        raise UsageError(unknown("sheet", sheet, SHEETS))
    kept = await asyncio.to_thread(shelf_of(daemon).read, job)
    document = (await answered(daemon, kept.file)).document()
    unit = shown.units.mass
    if sheet == "run-sheet":
        return await asyncio.to_thread(lambda: sheet_html(run_sheet(document)))
    listed = shopping_by_supplier if sheet == "shopping" else packing_list
    return await asyncio.to_thread(lambda: sheet_html(listed(document, unit)))
