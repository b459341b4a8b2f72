"""What forms do: deeds, beginning a cook, units, phones. Each answers with one sentence."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse

from pitlogger.errors import PitloggerError, RefusedError, UsageError
from pitlogger.model.journal import Entry, SignedOff
from pitlogger.questions import QuestionError
from pitlogger.safety.record import sign
from pitlogger.views.node import Node
from pitlogger.views.shown import MASS_UNITS, TEMPERATURE_UNITS, UNITS_COOKIE, Shown
from pitlogger.web.access.access import Access, utc_ms
from pitlogger.web.access.codes import spoken
from pitlogger.web.access.roles import role_of, who_asks
from pitlogger.web.actions import decide
from pitlogger.web.containers import remove
from pitlogger.web.judged import linked
from pitlogger.web.page.begin import cook_text
from pitlogger.web.page.forms import ask_of, filled, parse_form
from pitlogger.web.page.render import MORE, SCREENS
from pitlogger.web.page.view import deed_view, refused, screen, shown_to
from pitlogger.web.requests import Ask, ContainerAsk, CookAsk
from pitlogger.web.routes.containers import kept
from pitlogger.web.routes.devices import send_command
from pitlogger.web.routes.entry_answer import NOT_DURABLE
from pitlogger.web.routes.meals import MealAsk, tell_meal
from pitlogger.web.routes.ring_test import RingTest

Beside = Callable[[Node, dict[str, str], Shown], Awaitable[dict[str, Any]]]
PATHS = {path for path, _ in (*SCREENS, *MORE)}
YEAR_S = 365 * 86_400


def add_deeds(page: APIRouter, daemon: Node, ring: RingTest) -> None:
    """Add the route of all deeds."""
    beside = {**LIST_DEEDS, **_ring_deeds(ring)}

    @page.post("/do/{name}")
    async def do(name: str, request: Request) -> Response:
        wants_json = "application/json" in request.headers.get("accept", "")
        back, form = "/", dict[str, str]()
        try:
            form = parse_form(await request.body())
            back = form.get("back", "/") if form.get("back", "/") in PATHS else "/"
            if name in beside:
                said = await beside[name](daemon, form, shown_to(daemon, request))
                return JSONResponse(said) if wants_json else RedirectResponse(back, 303)
            entry = await _done(daemon, name, form)
        except QuestionError as fault:
            if wants_json:
                return JSONResponse(fault.asked.document() | {"error": fault.asked.question}, 409)
            values = {"asked": fault.asked, "fields": form, "name": name, "back": back}
            return screen(daemon, request, "question.html", values, 409)
        except PitloggerError as fault:
            status = status_of(fault)
            if wants_json:
                return JSONResponse({"error": str(fault)}, status)
            return refused(daemon, request, str(fault), back, status)
        if wants_json:
            view = deed_view(daemon, entry, shown_to(daemon, request))
            if daemon.is_on_disk(entry):
                return JSONResponse(view)
            return JSONResponse({**view, "durable": False}, NOT_DURABLE)
        return RedirectResponse(f"{back}?did={entry.run}.{entry.seq}", 303)


async def _done(daemon: Node, name: str, form: dict[str, str]) -> Entry:
    by = form.get("by") or who_asks.get().initials
    if name == "begin":
        return await decide(
            daemon, "cook", CookAsk(toml=cook_text(form), by=by[:12], key=form.get("key", ""))
        )
    if name == "meal":
        return await tell_meal(daemon, filled(MealAsk, form, daemon.clock.utc_ms(), by))
    if name == "sign":
        cook, links = await daemon.ask(lambda reader: linked(reader, form.get("cook")))
        review = sign(links, by, daemon.clock.engine_ms())
        return await daemon.submit(
            SignedOff(cook.id, review.seq, review.head), by, form.get("key", "")
        )
    return await decide(daemon, name, ask_of(name, form, daemon.clock.utc_ms(), by))


async def _keep_container(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    ask = filled(ContainerAsk, form, daemon.clock.utc_ms(), who_asks.get().initials)
    made = await kept(daemon, ask)
    return {"said": f"{made.name} is on the list: {shown.mass(made.tare_mg or 0)} empty."}


async def _remove_container(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    name = form.get("name", "")
    await asyncio.to_thread(remove, daemon, name, who_asks.get().initials)
    return {"said": f"{name} is off the list."}


def _ring_deeds(ring: RingTest) -> dict[str, Beside]:
    async def begin(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
        ring.begin()
        return {"said": "Ringing."}

    async def heard(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
        await ring.heard(form.get("by") or who_asks.get().initials)
        return {"said": "Heard: the ring test is answered."}

    return {"ring": begin, "ring-heard": heard}


async def _command_device(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    device, command = form.get("device", ""), form.get("command", "")
    ask = Ask(by=who_asks.get().initials, key=form.get("key", ""))
    await send_command(daemon, device, command, ask)
    return {"said": f"{device}: {command} sent."}


# Deeds without an entry that could be taken back.
LIST_DEEDS: dict[str, Beside] = {
    "container": _keep_container,
    "container-remove": _remove_container,
    "device-command": _command_device,
}


def status_of(fault: PitloggerError) -> int:
    """Return the HTTP status that a fault is answered with."""
    if isinstance(fault, UsageError):
        return 400
    return 409 if isinstance(fault, RefusedError) else 500


def add_phone_deeds(page: APIRouter, daemon: Node, access: Access) -> None:
    """Add what an owner does with phones, and what everybody does with units."""

    @page.post("/phones/code")
    async def code(request: Request) -> HTMLResponse:
        form = parse_form(await request.body())
        try:
            role = role_of(form.get("role", "hands"))
        except UsageError as fault:
            return refused(daemon, request, str(fault), "/settings", 400)
        values = {"code": spoken(access.invite(role)), "role": role.label}
        return screen(daemon, request, "code.html", values)

    @page.post("/phones/remove")
    async def remove(request: Request) -> Response:
        form = parse_form(await request.body())
        try:
            access.keys.remove(form.get("phone", ""), who_asks.get().name, utc_ms())
        except UsageError as fault:
            return refused(daemon, request, str(fault), "/settings", 400)
        return RedirectResponse("/settings", 303)

    @page.post("/node/backup")
    async def backup(request: Request) -> HTMLResponse:
        try:
            made = await asyncio.wrap_future(daemon.store.backup())
        except PitloggerError as fault:
            return refused(daemon, request, str(fault), "/settings", 500)
        return screen(daemon, request, "done.html",
                      {"message": f"Backed up, verified: {made}", "back": "/settings"})  # fmt: skip

    @page.post("/units")
    async def units(request: Request) -> Response:
        form = parse_form(await request.body())
        temperature, mass = form.get("temperature", ""), form.get("mass", "")
        if temperature not in TEMPERATURE_UNITS or mass not in MASS_UNITS:
            return refused(daemon, request, "Choose one of the units listed.", "/settings", 400)
        answer = RedirectResponse("/settings", 303)
        answer.set_cookie(UNITS_COOKIE, f"{temperature}.{mass}", max_age=YEAR_S, samesite="strict",
                          httponly=True)  # fmt: skip
        return answer
