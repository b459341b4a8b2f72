"""The API of a job: what a job file comes to, with the node's record behind it. Nothing is kept."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter
from pydantic import Field

from pitlogger.formats.job_file import parse_job
from pitlogger.planning.job import answer_job
from pitlogger.planning.job_answer import JobAnswer
from pitlogger.planning.past import PastCooks
from pitlogger.views.node import Node
from pitlogger.web.page.past_record import from_record
from pitlogger.web.requests import Ask
from pitlogger.web.routes.error_answers import RESPONSES


class JobAsk(Ask):
    """A job file (TOML) as text."""

    text: Annotated[str, Field(max_length=50_000)]


def make_job_api(daemon: Node) -> APIRouter:
    """Return the routes of jobs, bound to a daemon."""
    api = APIRouter(prefix="/api/v1", responses=RESPONSES)

    @api.post("/jobs/answer", summary="Answer a job file: what to buy, when, what it earns")
    async def answer(ask: JobAsk) -> JobAnswer:
        source = parse_job(ask.text)

        def answered(past: PastCooks) -> JobAnswer:
            return answer_job(
                source,
                past,
                kitchen=daemon.engine.policy.kitchen,
                currency=daemon.config.units.currency,
                now_ms=daemon.clock.utc_ms(),
            )

        return await from_record(daemon, answered)

    return api
