"""The API of jobs: what a job comes to with the node's record, jobs kept, papers issued."""

from __future__ import annotations

import asyncio
from contextlib import suppress
from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel, Field

from pitlogger.errors import PitloggerError
from pitlogger.formats.job_file import JobFile, parse_job
from pitlogger.node.job_shelf import JobShelf, KeptJob
from pitlogger.node.register import issue_asked, read_register
from pitlogger.planning.job import papers
from pitlogger.planning.job.answer import JobAnswer
from pitlogger.planning.job.calculation import answer_job
from pitlogger.planning.job.cook import with_cook
from pitlogger.planning.job.prices import ask_prices, price_doubts
from pitlogger.planning.leftovers import cooks_to_look_at, shown_cooled
from pitlogger.planning.past import PastCooks
from pitlogger.views.node import Node
from pitlogger.web.judged import judged
from pitlogger.web.page.records.past_record import from_record
from pitlogger.web.requests import Ask


class JobAsk(Ask):
    """A job file (TOML) as text."""

    text: Annotated[str, Field(max_length=50_000)]


class KeepAsk(JobAsk):
    """A job to keep; ``seen`` is the version it was changed from, none for a new one."""

    seen: Annotated[str, Field(max_length=64)] | None = None


class IssueAsk(Ask):
    """Papers to issue of a job that is kept."""

    job: Annotated[str, Field(max_length=60)]
    kind: Literal["quote", "invoice", "receipt"]


class JobKept(BaseModel):
    id: str
    version: str
    text: str


class JobIds(BaseModel):
    jobs: list[str]


class PaperShown(BaseModel):
    """An issued paper; money as text."""

    kind: str
    number: str
    version: int
    job: str
    on: str
    about: str
    currency: str
    total: str
    balance: str


class PapersShown(BaseModel):
    papers: list[PaperShown]


def shelf_of(daemon: Node) -> JobShelf:
    """Return where a node's jobs lie."""
    return JobShelf(daemon.config.node.data / "jobs")


async def answered(daemon: Node, source: JobFile) -> JobAnswer:
    """Return what a job comes to, with the node's record, times and currency."""

    cooled = await _cooled(daemon, source)

    def made(past: PastCooks) -> JobAnswer:
        return answer_job(
            source,
            past,
            kitchen=daemon.engine.policy.kitchen,
            currency=daemon.config.units.currency,
            now_ms=daemon.clock.utc_ms(),
            cooled=cooled,
        )

    return await from_record(daemon, made)


async def _cooled(daemon: Node, source: JobFile) -> bool | None:
    """Return whether the food logs of a job's cooks show its leftovers cooled in time."""
    logs = []
    for cook in cooks_to_look_at(source):
        with suppress(PitloggerError):  # it names a cook of another record
            logs.append((await judged(daemon, cook)).rows)
    return (
        all(shown_cooled((r.sheet, r.what, r.met) for r in rows) for rows in logs) if logs else None
    )


async def issued(daemon: Node, ask: IssueAsk) -> list[papers.Paper]:
    """Issue papers of a job that is kept, once that was confirmed.

    Raises:
        QuestionError: It was not yet.
    """
    shelf = shelf_of(daemon)
    source = (await asyncio.to_thread(shelf.read, ask.job)).file
    answer = await answered(daemon, source)
    today = datetime.fromtimestamp(daemon.clock.utc_ms() / 1000).astimezone().date().isoformat()

    def make(before: Any) -> tuple[papers.Paper, ...]:
        return papers.issue(ask.kind, source, answer, before, today)

    doubts = list(price_doubts(source, daemon.config.units.currency))
    papers.ask_who_came(ask.kind, source, answer, ask.answers)
    return await asyncio.to_thread(issue_asked, shelf.register, make, ask.answers, doubts)


def make_job_api(daemon: Node) -> APIRouter:
    """Return the routes of jobs, bound to a daemon."""
    api = APIRouter(prefix="/api/v1")

    @api.post("/jobs/answer", summary="Answer a job file: what to buy, when, what it earns")
    async def answer(ask: JobAsk) -> JobAnswer:
        return await answered(daemon, parse_job(ask.text))

    @api.get("/jobs", summary="The jobs that are kept")
    async def jobs() -> JobIds:
        return JobIds(jobs=await asyncio.to_thread(shelf_of(daemon).ids))

    @api.get("/jobs/{job}", summary="The file of a job")
    async def job_file(job: str) -> JobKept:
        return _kept(await asyncio.to_thread(shelf_of(daemon).read, job))

    @api.post("/jobs/{job}", summary="Keep a job; refused where somebody changed it meanwhile")
    async def keep(job: str, ask: KeepAsk) -> JobKept:
        doubts = price_doubts(parse_job(ask.text, f"{job}.toml"), daemon.config.units.currency)
        ask_prices(doubts, ask.answers)
        return _kept(await asyncio.to_thread(shelf_of(daemon).keep, job, ask.text, ask.seen))

    @api.get("/papers", summary="Issued papers, oldest first")
    async def register() -> PapersShown:
        found = await asyncio.to_thread(read_register, shelf_of(daemon).register)
        return PapersShown(papers=[PaperShown(**paper.shown()) for paper in found])

    @api.post("/papers", summary="Issue a quote, an invoice or receipts; asks first")
    async def issue(ask: IssueAsk) -> PapersShown:
        made = await issued(daemon, ask)
        return PapersShown(papers=[PaperShown(**paper.shown()) for paper in made])

    return api


def _kept(job: KeptJob) -> JobKept:
    return JobKept(id=job.id, version=job.version, text=job.text)


async def tie(daemon: Node, job: str, cook: str) -> None:
    """Let a job know its cook: what it cost and served then stands beside what was planned.

    Raises:
        UsageError: There is no such job.
        RefusedError: Somebody changes it at this moment, or the disk refuses.
    """
    shelf = shelf_of(daemon)
    kept = await asyncio.to_thread(shelf.read, job)
    await asyncio.to_thread(shelf.keep, job, with_cook(kept.text, cook), kept.version)
