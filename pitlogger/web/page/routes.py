"""Routes of the page: screens by GET, actions by forms, static files."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from functools import partial
from typing import Any, NamedTuple

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse
from starlette.datastructures import QueryParams

from pitlogger.errors import PitloggerError, UsageError
from pitlogger.model.cooks import CUTS, WRAPS
from pitlogger.store.queries import Reader
from pitlogger.views import words
from pitlogger.views.language import mark, tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.web.access.access import Access
from pitlogger.web.joining import Joining
from pitlogger.web.page.ahead.jobs import add_jobs
from pitlogger.web.page.ahead.plan import calendar_of, plan_screen
from pitlogger.web.page.cooking.alarms import alarms_screen
from pitlogger.web.page.cooking.begin import MOST_ROWS
from pitlogger.web.page.cooking.pit import pit_with_table
from pitlogger.web.page.cooking.temp import temp
from pitlogger.web.page.cooking.turnin import turn_in_screen
from pitlogger.web.page.cooking.weighing import weigh
from pitlogger.web.page.cooking.what_if import ahead_screen
from pitlogger.web.page.doing import add_actions, add_phone_actions
from pitlogger.web.page.records.foodlog import food_screen
from pitlogger.web.page.records.importing import add_import
from pitlogger.web.page.records.past import cook_screen, past_screen
from pitlogger.web.page.records.printing import print_screen, printed
from pitlogger.web.page.records.weights import weights
from pitlogger.web.page.render import groups
from pitlogger.web.page.setup.checking import checks_screen
from pitlogger.web.page.setup.first import first_screen
from pitlogger.web.page.setup.heard import heard_screen
from pitlogger.web.page.setup.join import add_joining
from pitlogger.web.page.setup.probes import may_be_pits, piece_screen, probes_screen
from pitlogger.web.page.setup.reach import reach_screen
from pitlogger.web.page.setup.settings import settings_screen
from pitlogger.web.page.statics import load_statics
from pitlogger.web.page.view import refused, running_cook, screen, shown_to
from pitlogger.web.routes.error_answers import status_of
from pitlogger.web.routes.ring_test import RingTest
from pitlogger.web.signers import Signers

MORE_SENTENCE = mark("What the cook, the instruments, the people and the record need.")
FOR_EVER = "public, max-age=31536000, immutable"


class Visit(NamedTuple):
    """Somebody opens a screen: what the address asks beside its path."""

    node: Node
    shown: Shown
    query: QueryParams


Values = dict[str, Any]
View = Callable[[Visit], Values | Awaitable[Values]]


def make_page(daemon: Node, access: Access, ring: RingTest, signers: Signers) -> APIRouter:
    """Return the routes of the page, bound to a daemon."""
    page = APIRouter(include_in_schema=False)
    screens: dict[str, tuple[str, View]] = {
        "/": ("pit.html", lambda v: pit_with_table(v.node, v.shown)),
        "/weigh": ("weigh.html", lambda v: weigh(v.node, v.shown, v.query.get("piece", ""))),
        "/temp": ("temp.html", lambda v: temp(v.node, v.shown, v.query.get("piece", ""))),
        "/ahead": ("ahead.html", lambda v: ahead_screen(v.node, v.shown, v.query.get("piece", ""))),
        "/probes": ("probes.html", lambda v: probes_screen(v.node, v.shown)),
        "/weights": ("weights.html", lambda v: weights(v.node, v.shown)),
        "/checks": ("checks.html", lambda v: checks_screen(v.node, v.shown)),
        "/first": ("first.html", lambda v: first_screen(v.node, v.shown)),
        "/heard": ("heard.html", lambda v: heard_screen(v.node, v.shown)),
        "/alarms": (
            "alarms.html",
            lambda v: alarms_screen(v.node, v.shown, v.query.get("show", "")),
        ),
        "/plan": ("plan.html", lambda v: plan_screen(v.node, v.shown, v.query)),
        "/begin": ("begin.html", _begin_screen),
        "/more": ("more.html", lambda v: {"sentence": tr(MORE_SENTENCE), "groups": groups()}),
        "/cooks": ("cooks.html", lambda v: past_screen(v.node, v.shown, v.query)),
        "/food": ("food.html", lambda v: food_screen(v.node, v.shown, v.query.get("cook"))),
        "/print": ("print.html", lambda v: print_screen(v.node, v.shown, v.query)),
        "/settings": ("settings.html", partial(_settings_screen, access=access)),
        "/reach": ("reach.html", lambda v: reach_screen(v.node.config)),
        "/turn-in": ("turn-in.html", lambda v: turn_in_screen(v.node, v.shown, ring)),
    }
    for path, (template, view) in screens.items():
        _add_screen(page, daemon, path, template, view)
    _add_pieces_and_cooks(page, daemon)
    _add_files(page, daemon)
    add_jobs(page, daemon)
    add_import(page, daemon)
    add_joining(page, daemon, Joining(daemon.config.node.data))
    add_actions(page, daemon, ring, signers)
    add_phone_actions(page, daemon, access)
    _add_statics(page)
    return page


def _add_screen(page: APIRouter, daemon: Node, path: str, template: str, view: View) -> None:
    @page.get(path)
    async def get(request: Request) -> HTMLResponse:
        made = view(Visit(daemon, shown_to(daemon, request), request.query_params))
        values = made if isinstance(made, dict) else await made
        return screen(daemon, request, template, values)


def _begin_screen(visit: Visit) -> Values:
    return {
        "asked": dict(visit.query), "rows": MOST_ROWS, "wraps": WRAPS,
        "cuts": [(cut, words.capital(words.cut(cut))) for cut in CUTS],
        "pits": may_be_pits(visit.node, visit.shown), "running": running_cook(visit.node),
    }  # fmt: skip


async def _settings_screen(visit: Visit, access: Access) -> Values:
    facts = await asyncio.to_thread(_facts, visit.node)
    return settings_screen(visit.node, access, visit.shown, facts)


def _facts(daemon: Node) -> Values:
    with Reader.open(daemon.config.database) as reader:
        return reader.facts()


def _add_pieces_and_cooks(page: APIRouter, daemon: Node) -> None:
    @page.get("/piece/{piece:path}")
    async def piece(piece: str, request: Request) -> HTMLResponse:
        values = piece_screen(daemon, shown_to(daemon, request), piece)
        return screen(daemon, request, "piece.html", values, 200 if values["p"] else 404)

    @page.get("/cooks/{cook}")
    async def cook(cook: str, request: Request) -> HTMLResponse:
        shown = shown_to(daemon, request)
        try:
            values = await cook_screen(daemon, shown, cook, request.query_params)
        except UsageError as fault:
            return refused(daemon, request, str(fault), "/cooks", 404)
        return screen(daemon, request, "cook.html", values)


def _add_files(page: APIRouter, daemon: Node) -> None:
    @page.get("/plan.ics")
    async def plan_calendar(request: Request) -> Response:
        values = await plan_screen(daemon, shown_to(daemon, request), request.query_params)
        if not values["events"]:
            reason = tr("Say when it is served: then there is something to put into a calendar.")
            return refused(daemon, request, values["fault"] or reason, "/plan", 422)
        text = calendar_of(values["events"], values["sentence"], daemon.clock.utc_ms())
        return Response(text, media_type="text/calendar; charset=utf-8")

    @page.get("/print/{what}")
    async def sheet(what: str, request: Request) -> HTMLResponse:
        shown, query = shown_to(daemon, request), request.query_params
        try:
            return await printed(daemon, shown, what, query)
        except PitloggerError as fault:
            return refused(daemon, request, str(fault), "/print", status_of(fault))


def _add_statics(page: APIRouter) -> None:
    @page.get("/static/{version}/{name:path}")
    async def static(version: str, name: str, request: Request) -> Response:
        statics = load_statics()
        found = statics.by_name.get(name)
        if found is None:
            return Response("not found", 404)
        headers = {"Cache-Control": FOR_EVER if version == statics.version else "no-cache"}
        headers["Vary"] = "Accept-Encoding"
        if "gzip" in request.headers.get("accept-encoding", ""):
            headers["Content-Encoding"] = "gzip"
            return Response(found.packed, media_type=found.media_type, headers=headers)
        return Response(found.plain, media_type=found.media_type, headers=headers)
