"""The node's screen of several nodes: join a hub, let others join this one, take its priors.

A hub shows a line as text and as a QR code (``formats/join_code.py``). It is scanned with the
phone that has the other node's page open, and pasted into that page's form; the line alone says
where and who, so that no phone has to trust the hub's own port.
"""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any, cast

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from pitlogger.errors import PitloggerError, UsageError
from pitlogger.formats.join_code import join_line
from pitlogger.hub import questions
from pitlogger.uplink.joined import joined
from pitlogger.uplink.offers import answer_offer, read_offer
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.web.access.roles import Role, who_asks
from pitlogger.web.page.doing import qr_svg
from pitlogger.web.page.forms import parse_form
from pitlogger.web.page.plain_words import plain
from pitlogger.web.page.view import refused, screen
from pitlogger.web.routes.error_answers import status_of

if TYPE_CHECKING:
    from pitlogger.web.fleet.open_hub import OpenHub

SCREEN = "/uplink"


def make_uplink_page(daemon: Node, hub: OpenHub | None) -> APIRouter:
    """Return the routes; ``hub`` is ``None`` where the node is none."""
    pages = APIRouter(include_in_schema=False)
    joining = asyncio.Lock()  # the second of two taps finds the node joined

    def no(request: Request, fault: PitloggerError) -> HTMLResponse:
        return refused(daemon, request, plain(str(fault)), SCREEN, status_of(fault))

    @pages.get(SCREEN)
    async def uplink(request: Request) -> HTMLResponse:
        values = _standing(daemon, hub)
        if "look" in request.query_params and values["is_owner"]:
            values |= await _looked()
        return screen(daemon, request, "uplink.html", values)

    @pages.post("/uplink/join")
    async def join(request: Request) -> Response:
        form = parse_form(await request.body())
        async with joining:
            try:
                if not daemon.uplinking.is_on:
                    await daemon.uplinking.join(form.get("hub", ""), form.get("code", ""))
            except PitloggerError as fault:
                return no(request, fault)
        return RedirectResponse(SCREEN, 303)

    @pages.post("/uplink/leave")
    async def leave(request: Request) -> Response:
        if hub is None:
            await daemon.uplinking.leave()
        return RedirectResponse(SCREEN, 303)

    @pages.post("/uplink/priors")
    async def priors(request: Request) -> Response:
        answer = parse_form(await request.body()).get("answer", "")
        try:
            if answer not in ("take", "decline", "undo"):
                raise UsageError("take it, decline it or undo the last answer")
            answer_offer(daemon.config.node.data, cast("Any", answer), who_asks.get().initials)
        except PitloggerError as fault:
            return no(request, fault)
        return RedirectResponse(SCREEN, 303)

    if hub is not None:

        @pages.post("/hub/code")
        async def code(request: Request) -> HTMLResponse:
            site = parse_form(await request.body()).get("site", "")
            try:
                values = await invited(hub, site, who_asks.get().name)
            except PitloggerError as fault:
                return no(request, fault)
            return screen(daemon, request, "uplink_code.html", {**values, "back": SCREEN})

    return pages


async def invited(hub: OpenHub, site: str, who: str) -> dict[str, Any]:
    """Return what is shown of a new code for a node of a site.

    Raises:
        UsageError: No name of a site.
    """
    is_new = site not in await hub.ask(questions.sites)
    code = await hub.invite(site, who)
    line = join_line(hub.address, code)
    return {"code": code, "line": line, "qr": qr_svg(line), "site": site, "is_new": is_new}


def _standing(daemon: Node, hub: OpenHub | None) -> dict[str, Any]:
    data, status = daemon.config.node.data, daemon.uplinking.status()
    to, offer = (None if hub else joined(data)), read_offer(data)
    if hub is not None:
        sentence = tr("This node is the hub of {firm}.", firm=hub.firm)
    elif to is not None:
        sentence = tr("The record goes to {firm}, {site}.", firm=to.tenant, site=to.site)
    else:
        sentence = tr("This node keeps its record to itself.")
    return {
        "sentence": sentence, "is_hub": hub is not None, "to": to, "status": status,
        "fault": plain(status.fault) if status.fault else "", "offer": offer,
        "cuts": offer.cuts(), "is_owner": who_asks.get().role is Role.OWNER,
        "site": daemon.config.hub.site, "hubs": None, "unheard": "",
    }  # fmt: skip


async def _looked() -> dict[str, Any]:
    from pitlogger.uplink.discovery import find_hubs

    try:
        return {"hubs": await find_hubs()}
    except UsageError as fault:
        return {"hubs": [], "unheard": plain(str(fault))}
