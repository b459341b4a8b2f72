"""The firm's page: every pit, exceptions, yields, cooks, nodes. It shows; no pit is acted on.

Whoever holds a token of ``pitlogger hub member add`` looks, as their role allows; the database
itself withholds rows of other firms and sites (``hub/members.py``).
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Any
from urllib.parse import urlsplit

from fastapi import APIRouter
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from pitlogger.clock import utc_ms
from pitlogger.errors import HubFullError, UsageError
from pitlogger.hub import logs, questions
from pitlogger.hub.database import Database
from pitlogger.hub.members import OWNER, Member, member_of, seen_by
from pitlogger.web.fleet.api import DAY_MS
from pitlogger.web.fleet.firm_words import FirmWords
from pitlogger.web.fleet.open_hub import OpenHub
from pitlogger.web.fleet.uplink_page import invited
from pitlogger.web.page.forms import parse_form
from pitlogger.web.page.render import environment
from pitlogger.web.page.statics import load_statics

COOKIE = "__Host-pitlogger-firm"
HEADERS = {
    "content-security-policy": "default-src 'none'; style-src 'self';"
    " img-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
    "cache-control": "no-store", "x-content-type-options": "nosniff",
    # With none at all a browser does not say either from which page a form comes.
    "referrer-policy": "same-origin",
}  # fmt: skip
Shown = Callable[[Request, Member], Awaitable[Response]]


def make_firm_page(hub: OpenHub) -> Starlette:
    """Return the page of a hub by itself, behind tokens."""

    def let_in(shown: Shown) -> Callable[[Request], Awaitable[Response]]:
        async def asked(request: Request) -> Response:
            token = request.cookies.get(COOKIE, "")
            member = await hub.ask(member_of, token, utc_ms())
            if member is None:
                return _html("firm_enter.html", 401, missing=False, refused=bool(token))
            return await shown(request, member)

        return asked

    async def enter(request: Request) -> Response:
        body = (await request.body())[:4096].decode("ascii", "replace")
        token = body.partition("token=")[2].strip()
        member = await hub.ask(member_of, token, utc_ms())
        if member is None:
            return _html("firm_enter.html", 401, missing=False, refused=True)
        answer = RedirectResponse("/", 303, HEADERS)
        answer.set_cookie(COOKIE, token, secure=True, httponly=True, samesite="strict")
        return answer

    async def static(request: Request) -> Response:
        found = load_statics().by_name.get(request.path_params["name"])
        if found is None:
            return Response("not here", 404)
        return Response(found.plain, media_type=found.media_type)

    async def firm(request: Request, member: Member) -> Response:
        return await firm_page(hub, member)

    async def cook(request: Request, member: Member) -> Response:
        return await cook_page(hub, member, **request.path_params)

    async def code(request: Request, member: Member) -> Response:
        return await code_page(hub, member, request)

    return Starlette(routes=[
        Route("/", let_in(firm)),
        Route("/enter", enter, methods=["POST"]),
        Route("/code", let_in(code), methods=["POST"]),
        Route("/cook/{uid}/{name:path}", let_in(cook)),
        Route("/static/{version}/{name:path}", static),
    ], exception_handlers={HubFullError: _away, UsageError: _unusable})  # fmt: skip


async def _away(request: Request, fault: Exception) -> Response:
    """Say that the hub's database cannot be asked just now."""
    return _html("firm_away.html", 503)


async def _unusable(request: Request, fault: Exception) -> Response:
    """Say what cannot be done as it was given."""
    return Response(str(fault), 400, HEADERS)


def make_node_page(hub: OpenHub) -> APIRouter:
    """Return the same page within that of a node, which lets in whom it knows."""
    pages = APIRouter(include_in_schema=False)
    owner = Member(0, hub.tenant, "", OWNER, (), None)

    @pages.get("/firm")
    async def firm() -> Response:
        return await firm_page(hub, owner, "/firm")

    @pages.get("/firm/cook/{uid}/{name:path}")
    async def cook(uid: str, name: str) -> Response:
        return await cook_page(hub, owner, uid, name, "/firm")

    return pages


async def firm_page(hub: OpenHub, member: Member, base: str = "") -> Response:
    """Return the page as a member may see it. ``base``: path in front of its links."""
    now_ms = utc_ms()

    def asked(database: Database) -> dict[str, Any]:
        tenant = member.tenant
        with seen_by(database, member):
            yields = questions.site_yields(database, tenant) if member.sees_yields else []
            return {
                "pits": questions.standing(database, tenant, now_ms),
                "exceptions": questions.exceptions(
                    database, tenant, now_ms - DAY_MS, now_ms + DAY_MS
                ),
                "yields": yields,
                "sentence": questions.sentence(yields) if yields else "",
                "cooks": logs.cooks(database, tenant, 40),
                "nodes": questions.nodes(database, tenant) if member.sees_nodes else [],
                "conflicts": questions.conflicts(database, tenant) if member.sees_nodes else [],
                "sites": questions.sites(database, tenant, member.sites),
            }

    found = await hub.ingest.do(lambda sink: asked(sink.database))
    words = FirmWords(now_ms)
    return _html("firm.html", 200, firm=hub.firm, me=member, base=base, words=words,
                 headline=words.headline(found["pits"], found["exceptions"]), **found)  # fmt: skip


async def code_page(hub: OpenHub, member: Member, request: Request) -> Response:
    """Return a new code for a node, made for whoever may make one there."""
    origin = request.headers.get("origin", "")
    form = parse_form((await request.body())[:4096])
    site, seen = form.get("site", ""), await hub.ask(questions.sites, member.sites)
    may = member.lets_join and (member.role == OWNER or site in seen)
    if not may or urlsplit(origin).netloc != request.headers.get("host"):
        return _html("firm_enter.html", 403, missing=True, refused=False)
    return _html("firm_code.html", 200, firm=hub.firm, **await invited(hub, site, member.name))


async def cook_page(hub: OpenHub, member: Member, uid: str, name: str, base: str = "") -> Response:
    """Return one cook with its chart and its log."""

    def asked(database: Database) -> dict[str, Any] | None:
        with seen_by(database, member):
            for row in logs.cooks(database, member.tenant, 10_000):
                if (row.node, row.cook) == (uid, name):
                    lines = logs.cook_minutes(database, member.tenant, uid, row)
                    log = logs.cook_log(database, member.tenant, uid, name)
                    return {"cook": row, "lines": lines, "log": log}
        return None

    found = await hub.ingest.do(lambda sink: asked(sink.database))
    if found is None:
        return _html("firm_enter.html", 404, missing=True, refused=False)
    return _html("firm_cook.html", 200, firm=hub.firm, base=base, words=FirmWords(utc_ms()),
                 **found)  # fmt: skip


def _html(template: str, status: int, **values: Any) -> Response:
    text = environment().get_template(template).render(**values)
    return HTMLResponse(text, status, HEADERS)
