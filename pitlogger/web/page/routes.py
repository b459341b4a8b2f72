"""Routes of the page: screens by GET, actions by forms, static files."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from pitlogger.errors import PitloggerError, UsageError
from pitlogger.model.cooks import CUTS, WRAPS
from pitlogger.store.queries import Reader
from pitlogger.views import words
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.web.access.access import Access
from pitlogger.web.joining import Joining
from pitlogger.web.page.ahead import ahead_screen
from pitlogger.web.page.alarms import alarms_screen
from pitlogger.web.page.begin import MOST_ROWS
from pitlogger.web.page.checking import checks_screen
from pitlogger.web.page.doing import add_actions, add_phone_actions, status_of
from pitlogger.web.page.first import first_screen
from pitlogger.web.page.foodlog import food_screen
from pitlogger.web.page.heard import heard_screen
from pitlogger.web.page.importing import add_import
from pitlogger.web.page.jobs import add_jobs
from pitlogger.web.page.join import add_joining
from pitlogger.web.page.past import cook_screen, past_screen
from pitlogger.web.page.pit import pit_with_table
from pitlogger.web.page.planning import calendar_of, plan_screen
from pitlogger.web.page.printing import print_screen, printed
from pitlogger.web.page.probes import may_be_pits, piece_screen, probes_screen
from pitlogger.web.page.reach import reach_screen
from pitlogger.web.page.render import groups
from pitlogger.web.page.settings import settings_screen
from pitlogger.web.page.statics import load_statics
from pitlogger.web.page.temp import temp
from pitlogger.web.page.turnin import turn_in_screen
from pitlogger.web.page.view import refused, running_cook, screen, shown_to
from pitlogger.web.page.weighing import weigh
from pitlogger.web.page.weights import weights
from pitlogger.web.routes.ring_test import RingTest
from pitlogger.web.signers import Signers

FOR_EVER = "public, max-age=31536000, immutable"


def make_page(daemon: Node, access: Access, ring: RingTest, signers: Signers) -> APIRouter:
    """Return the routes of the page, bound to a daemon."""
    page = APIRouter(include_in_schema=False)
    _add_screen(page, daemon, "/", "pit.html", pit_with_table)
    _add_for_a_piece(page, daemon, "/weigh", "weigh.html", weigh)
    _add_for_a_piece(page, daemon, "/temp", "temp.html", temp)
    _add_pieces(page, daemon)
    _add_screen(page, daemon, "/weights", "weights.html", weights)
    _add_screen(page, daemon, "/checks", "checks.html", checks_screen)
    _add_screen(page, daemon, "/first", "first.html", first_screen)
    _add_screen(page, daemon, "/heard", "heard.html", heard_screen)
    _add_screen(page, daemon, "/alarms", "alarms.html", alarms_screen)
    _add_planning(page, daemon)
    add_jobs(page, daemon)
    _add_past(page, daemon)
    add_import(page, daemon)
    _add_printing(page, daemon)
    _add_node(page, daemon, access, ring)
    add_joining(page, daemon, Joining(daemon.config.node.data))
    add_actions(page, daemon, ring, signers)
    add_phone_actions(page, daemon, access)
    _add_statics(page)
    return page


def _add_screen(
    page: APIRouter, daemon: Node, path: str, template: str,
    view: Callable[[Node, Shown], dict[str, Any] | Awaitable[dict[str, Any]]],
) -> None:  # fmt: skip
    @page.get(path)
    async def get(request: Request) -> HTMLResponse:
        made = view(daemon, shown_to(daemon, request))
        values = made if isinstance(made, dict) else await made
        return screen(daemon, request, template, values)


def _add_for_a_piece(
    page: APIRouter, daemon: Node, path: str, template: str,
    view: Callable[[Node, Shown, str], dict[str, Any]],
) -> None:  # fmt: skip
    @page.get(path)
    async def get(request: Request) -> HTMLResponse:
        values = view(daemon, shown_to(daemon, request), request.query_params.get("piece", ""))
        return screen(daemon, request, template, values)


def _add_pieces(page: APIRouter, daemon: Node) -> None:
    @page.get("/piece/{piece:path}")
    async def piece(piece: str, request: Request) -> HTMLResponse:
        values = piece_screen(daemon, shown_to(daemon, request), piece)
        return screen(daemon, request, "piece.html", values, 200 if values["p"] else 404)

    @page.get("/ahead")
    async def ahead(request: Request) -> HTMLResponse:
        asked = request.query_params.get("piece", "")
        values = await ahead_screen(daemon, shown_to(daemon, request), asked)
        return screen(daemon, request, "ahead.html", values)

    @page.get("/probes")
    async def probes(request: Request) -> HTMLResponse:
        values = probes_screen(daemon, shown_to(daemon, request))
        return screen(daemon, request, "probes.html", values)


def _add_planning(page: APIRouter, daemon: Node) -> None:
    @page.get("/plan")
    async def plan(request: Request) -> HTMLResponse:
        shown = shown_to(daemon, request)
        values = await plan_screen(daemon, shown, request.query_params)
        return screen(daemon, request, "plan.html", values)

    @page.get("/plan.ics")
    async def plan_calendar(request: Request) -> Response:
        values = await plan_screen(daemon, shown_to(daemon, request), request.query_params)
        if not values["events"]:
            reason = tr("Say when it is served: then there is something to put into a calendar.")
            return refused(daemon, request, values["fault"] or reason, "/plan", 422)
        text = calendar_of(values["events"], values["sentence"], daemon.clock.utc_ms())
        return Response(text, media_type="text/calendar; charset=utf-8")

    @page.get("/begin")
    async def begin(request: Request) -> HTMLResponse:
        shown = shown_to(daemon, request)
        values = {
            "asked": dict(request.query_params), "rows": MOST_ROWS, "wraps": WRAPS,
            "cuts": [(cut, words.capital(words.cut(cut))) for cut in CUTS],
            "pits": may_be_pits(daemon, shown), "running": running_cook(daemon),
        }  # fmt: skip
        return screen(daemon, request, "begin.html", values)

    @page.get("/more")
    async def more(request: Request) -> HTMLResponse:
        sentence = "What the cook, the instruments, the people and the record need."
        values = {"sentence": sentence, "groups": groups()}
        return screen(daemon, request, "more.html", values)


def _add_past(page: APIRouter, daemon: Node) -> None:
    @page.get("/cooks")
    async def cooks(request: Request) -> HTMLResponse:
        shown = shown_to(daemon, request)
        values = await past_screen(daemon, shown, request.query_params)
        return screen(daemon, request, "cooks.html", values)

    @page.get("/cooks/{cook}")
    async def cook(cook: str, request: Request) -> HTMLResponse:
        shown = shown_to(daemon, request)
        try:
            values = await cook_screen(daemon, shown, cook, request.query_params)
        except UsageError as fault:
            return refused(daemon, request, str(fault), "/cooks", 404)
        return screen(daemon, request, "cook.html", values)

    @page.get("/food")
    async def food(request: Request) -> HTMLResponse:
        shown = shown_to(daemon, request)
        values = await food_screen(daemon, shown, request.query_params.get("cook"))
        return screen(daemon, request, "food.html", values)


def _add_printing(page: APIRouter, daemon: Node) -> None:
    @page.get("/print")
    async def overview(request: Request) -> HTMLResponse:
        shown = shown_to(daemon, request)
        values = await print_screen(daemon, shown, request.query_params)
        return screen(daemon, request, "print.html", values)

    @page.get("/print/{what}")
    async def sheet(what: str, request: Request) -> HTMLResponse:
        shown, query = shown_to(daemon, request), request.query_params
        try:
            return await printed(daemon, shown, what, query, query.getlist("allergen"))
        except PitloggerError as fault:
            return refused(daemon, request, str(fault), "/print", status_of(fault))


def _add_node(page: APIRouter, daemon: Node, access: Access, ring: RingTest) -> None:
    @page.get("/settings")
    async def settings(request: Request) -> HTMLResponse:
        facts = await asyncio.to_thread(_facts, daemon)
        values = settings_screen(daemon, access, shown_to(daemon, request), facts)
        return screen(daemon, request, "settings.html", values)

    @page.get("/reach")
    async def reach(request: Request) -> HTMLResponse:
        return screen(daemon, request, "reach.html", await reach_screen())

    @page.get("/turn-in")
    async def turn_in(request: Request) -> HTMLResponse:
        values = turn_in_screen(daemon, shown_to(daemon, request), ring)
        return screen(daemon, request, "turn-in.html", values)


def _facts(daemon: Node) -> dict[str, Any]:
    with Reader.open(daemon.config.database) as reader:
        return reader.facts()


def _add_statics(page: APIRouter) -> None:
    statics = load_statics()

    @page.get("/static/{version}/{name:path}")
    async def static(version: str, name: str, request: Request) -> Response:
        found = statics.by_name.get(name)
        if found is None:
            return Response("not found", 404)
        headers = {"Cache-Control": FOR_EVER if version == statics.version else "no-cache"}
        headers["Vary"] = "Accept-Encoding"
        if "gzip" in request.headers.get("accept-encoding", ""):
            headers["Content-Encoding"] = "gzip"
            return Response(found.packed, media_type=found.media_type, headers=headers)
        return Response(found.plain, media_type=found.media_type, headers=headers)
