"""What forms do: actions, beginning a cook, units, phones. Each answers with one sentence."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Awaitable, Callable
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse
from pydantic import ValidationError

from pitlogger.clock import utc_ms
from pitlogger.engine.commands import UNDOABLE
from pitlogger.errors import PitloggerError, RefusedError, UsageError
from pitlogger.model.journal import CookFinished, CookStarted
from pitlogger.node.containers import remove
from pitlogger.questions import Answers, QuestionError
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.sentences import told
from pitlogger.views.shown import MASS_UNITS, TEMPERATURE_UNITS, UNITS_COOKIE, Shown
from pitlogger.web import requests
from pitlogger.web.access.access import Access
from pitlogger.web.access.codes import spoken
from pitlogger.web.access.roles import role_of, who_asks
from pitlogger.web.actions import decide
from pitlogger.web.page.asked_first import done_by_another, weigh_once
from pitlogger.web.page.cooking.alarm_groups import FOOD_SAFETY
from pitlogger.web.page.cooking.begin import check_band, cook_text
from pitlogger.web.page.cooking.loose import LOOSE
from pitlogger.web.page.cooking.pieces import followed
from pitlogger.web.page.cooking.temp import PLACE
from pitlogger.web.page.forms import ask_of, field_fault, filled, parse_form
from pitlogger.web.page.late import on_arrival
from pitlogger.web.page.plain_words import plain
from pitlogger.web.page.render import BACK, MORE, SCREENS
from pitlogger.web.page.setup.checking import CHECKS
from pitlogger.web.page.setup.first import FIRST
from pitlogger.web.page.setup.heard import HEARD
from pitlogger.web.page.typed import in_phone_units, with_offset
from pitlogger.web.page.view import action_view, refused, screen, shown_to
from pitlogger.web.routes.containers import kept
from pitlogger.web.routes.devices import send_command
from pitlogger.web.routes.entry_answer import NOT_DURABLE
from pitlogger.web.routes.error_answers import status_of
from pitlogger.web.routes.jobs import tie
from pitlogger.web.routes.meals import MealAsk, tell_meal
from pitlogger.web.routes.ring_test import RingTest
from pitlogger.web.signers import Signers
from pitlogger.web.signing import sign_off

Beside = Callable[[Node, dict[str, str], Shown], Awaitable[dict[str, Any]]]
PATHS = {*(path for path, _ in (*SCREENS, *MORE)), *BACK}
_UNKNOWN = re.compile(r"unknown \w+ '(.*?)'")
_PAST_COOK = re.compile(r"/cooks/[\w-]+")
YEAR_S = 365 * 86_400


def add_actions(page: APIRouter, daemon: Node, ring: RingTest, signers: Signers) -> None:
    """Add the route of all actions."""
    beside = {**LIST_ACTIONS, **_ring_actions(ring), **_sign_actions(signers)}

    @page.post("/do/{name}")
    async def do(name: str, request: Request) -> Response:
        wants_json = "application/json" in request.headers.get("accept", "")
        back, form = "/", dict[str, str]()
        shown = shown_to(daemon, request)
        try:
            form = parse_form(await request.body())
            back = _back(form)
            form = await on_arrival(daemon, name, form)
            form = of_a_place(in_phone_units(form, shown.units))
            if name in beside:
                said = await beside[name](daemon, form, shown)
                said["said"] = told(said["said"])
                status = 200 if said.get("durable", True) else NOT_DURABLE
                return JSONResponse(said, status) if wants_json else RedirectResponse(back, 303)
            outcome = await _done(daemon, name, form, shown)
        except QuestionError as fault:
            if wants_json:
                question, error = told(plain(fault.asked.question)), told(plain(str(fault)))
                asked = fault.asked.document() | {"question": question, "error": error}
                return JSONResponse(asked, 409)
            values = {"asked": fault.asked, "fields": form, "name": name, "back": back}
            return screen(daemon, request, "question.html", values, 409)
        except (PitloggerError, ValidationError) as caught:
            why = field_fault(caught) if isinstance(caught, ValidationError) else caught
            status, message = status_of(why), told(plain(str(why)))
            if wants_json:
                return JSONResponse({"error": message, "field": _at_fault(why, form)}, status)
            return refused(daemon, request, message, back, status)
        if wants_json:
            return JSONResponse(outcome, 200 if outcome.get("durable", True) else NOT_DURABLE)
        return RedirectResponse(f"{back}?did={outcome.get('run')}.{outcome.get('seq')}", 303)


def _at_fault(why: PitloggerError, form: dict[str, str]) -> str:
    """Return the field that an error is of: the one it names, or that of an unknown word."""
    if not isinstance(why, UsageError):
        return ""
    word = _UNKNOWN.match(str(why))
    held = [name for name, value in form.items() if word and value == word[1]]
    return why.field or "".join(held[:1])


def _back(form: dict[str, str]) -> str:
    """Return the screen to go back to: one of ours, or a past cook."""
    back = form.get("back", "/")
    return back if back in PATHS or _PAST_COOK.fullmatch(back) else "/"


def of_a_place(form: dict[str, str]) -> dict[str, str]:
    """Return a form whose piece may be a place as one that names the site instead."""
    if not form.get("piece", "").startswith(PLACE):
        return form
    rest = {name: value for name, value in form.items() if name != "piece"}
    return {**rest, "site": form["piece"].removeprefix(PLACE)}


async def _done(daemon: Node, name: str, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    """Do an action and return its outcome: what is said of it, and how it is taken back."""
    by = form.get("by") or who_asks.get().initials
    key = form.get("key", "")
    if name == "begin":
        toml = cook_text(form, shown.units, followed(daemon.engine.book))
        rest = {field: form.get(field, "") for field in ("key", "confirm")}
        told = {**rest, "toml": toml, "late_s": form.get("late_s", "0")}
        cook = filled(requests.CookAsk, told, daemon.clock.utc_ms(), by[:12])
        begun = action_view(daemon, await decide(daemon, "cook", cook), shown)
        return await _tied(daemon, form.get("job", ""), begun)
    if name == "meal":
        ask = filled(MealAsk, form, daemon.clock.utc_ms(), by)
        return action_view(daemon, await tell_meal(daemon, ask), shown)
    if name == "assign":
        check_band(form, "channel.{}")
    asked_for = ask_of(name, with_offset(form), daemon.clock.utc_ms(), by)
    before = _tare_before(daemon, asked_for)
    is_new = await daemon.earlier(key) is None
    if isinstance(asked_for, requests.StageAsk) and is_new:
        first = done_by_another(daemon, asked_for, form.get("seen", ""), shown)
        if first:
            return {"said": first, "already": True, "undo": None}
    if isinstance(asked_for, requests.WeighAsk):
        entry = await weigh_once(daemon, asked_for, shown)
    else:
        entry = await decide(daemon, name, asked_for)
    return {**action_view(daemon, entry, shown), **before}


async def _tied(daemon: Node, job: str, begun: dict[str, Any]) -> dict[str, Any]:
    """Let the job that a cook was begun from know it; the cook goes on whatever becomes of that."""
    if not job or daemon.cook is None:
        return begun
    try:
        await tie(daemon, job, daemon.cook)
    except PitloggerError as fault:
        words = tr("Its job does not know it yet: {why}", why=plain(str(fault)))
        return {**begun, "said": f"{begun['said']} {words}"}
    return begun


async def _unbegin(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    """End and withdraw a cook begun by mistake; the record keeps both."""
    begun = [one for one in daemon.engine.state.entries if isinstance(one.body, CookStarted)]
    if not begun or (begun[-1].run, str(begun[-1].seq)) != (form.get("run"), form.get("seq")):
        raise RefusedError("another cook has begun since: end this one under Past cooks")
    later = daemon.engine.state.entries[daemon.engine.state.entries.index(begun[-1]) + 1 :]
    if any(isinstance(one.body, UNDOABLE) for one in later):
        raise RefusedError("something was entered since it began: end it when it is over")
    cook, by, key = daemon.cook, who_asks.get().initials, form.get("key", "")
    assert isinstance(begun[-1].body, CookStarted)
    if cook is None:
        raise RefusedError("it has ended already")
    name = begun[-1].body.cook.name
    await daemon.submit(CookFinished(name, cook), by, key)
    await decide(
        daemon, "withdraw", requests.WithdrawAsk(cook=cook, reason="begun by mistake", by=by)
    )
    return {"said": f"{name} was not begun after all."}


def _tare_before(daemon: Node, asked_for: requests.Ask) -> dict[str, Any]:
    """Return how a tare is taken back: by the one that stood before."""
    if not isinstance(asked_for, requests.TareAsk):
        return {}
    tare = daemon.engine.book.tares.get(asked_for.channel)
    fields = {"channel": asked_for.channel, "mass": f"{(tare.tare_mg if tare else 0) / 1000:g} g"}
    if tare is not None and tare.container:
        fields["container"] = tare.container
    return {"undo": {"action": "tare", "fields": fields}}


async def _keep_container(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    ask = filled(requests.ContainerAsk, form, daemon.clock.utc_ms(), who_asks.get().initials)
    made = await kept(daemon, ask)
    undo = {"action": "container-remove", "fields": {"name": made.name}}
    said = f"{made.name} is on the list: {shown.mass(made.tare_mg or 0)} empty."
    return {"said": said, "undo": undo}


async def _remove_container(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    name = form.get("name", "")
    held = await asyncio.to_thread(remove, daemon, name, who_asks.get().initials)
    fields = {"name": name, "mass": f"{(held.tare_mg or 0) / 1000:g} g"}
    undo = {"action": "container", "fields": fields}
    return {"said": f"{name} is off the list.", "undo": undo}


def _sign_actions(signers: Signers) -> dict[str, Beside]:
    async def sign(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
        entry = await sign_off(
            daemon, signers, form.get("cook"), form.get("by", "").strip(), form.get("pin", ""),
            form.get("key", ""), Answers.of(form.get("confirm", "")),
        )  # fmt: skip
        return action_view(daemon, entry, shown)

    async def signer(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
        pin = form.get("pin", "")
        if pin != form.get("again", ""):
            raise UsageError("The two PINs differ: write the same one twice.", "again")
        made = await asyncio.to_thread(
            signers.add, form.get("initials", ""), form.get("name", ""), pin
        )
        return {
            "said": tr("{name} may sign as {initials}.", name=made.name, initials=made.initials)
        }

    return {"sign": sign, "signer": signer}


def _ring_actions(ring: RingTest) -> dict[str, Beside]:
    async def begin(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
        ring.begin()
        return {"said": "Ringing."}

    async def heard(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
        await ring.heard(form.get("by") or who_asks.get().initials)
        return {"said": "Heard: the ring test is answered."}

    return {"ring": begin, "ring-heard": heard}


def _each(action: str, back: str, said: str) -> Beside:
    """Return what does one thing to several alerts, and is taken back for all of them."""

    async def do(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
        alerts = [value for name, value in sorted(form.items()) if name.startswith("alert.")]
        by, done = form.get("by") or who_asks.get().initials, []
        for number, alert in enumerate(alerts):
            if alert.partition("/")[0] in FOOD_SAFETY:
                continue
            try:
                key = f"{form.get('key', '')}-{number}"
                await decide(daemon, action, requests.AlertAsk(alert=alert, by=by, key=key))
                done.append(alert)
            except UsageError:
                continue  # seen by another meanwhile, or over
        fields = {f"alert.{number}": alert for number, alert in enumerate(done)}
        undo = {"action": back, "fields": fields} if done else None
        return {"said": f"{said}: {len(done)} of {len(alerts)}.", "undo": undo}

    return do


async def _command_device(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    device, command = form.get("device", ""), form.get("command", "")
    ask = requests.Ask(by=who_asks.get().initials, key=form.get("key", ""))
    await send_command(daemon, device, command, ask)
    return {"said": f"{device}: {command} sent."}


# Actions without an entry that could be taken back.
LIST_ACTIONS: dict[str, Beside] = {
    **LOOSE,
    **CHECKS,
    **HEARD,
    **FIRST,
    "unbegin": _unbegin,
    "container": _keep_container,
    "container-remove": _remove_container,
    "device-command": _command_device,
    "acknowledge-all": _each("acknowledge", "unacknowledge-all", "Seen"),
    "unacknowledge-all": _each("unacknowledge", "acknowledge-all", "Not seen after all"),
}


def qr_svg(text: str) -> str:
    """Return a text as a QR code, an SVG element."""
    import segno

    drawn: str = segno.make(text, micro=False).svg_inline(border=2, svgclass="qr", omitsize=True)
    return drawn


def add_phone_actions(page: APIRouter, daemon: Node, access: Access) -> None:
    """Add what an owner does with phones, and what everybody does with units."""

    @page.post("/phones/code")
    async def code(request: Request) -> HTMLResponse:
        form = parse_form(await request.body())
        try:
            role = role_of(form.get("role", "hands"))
        except UsageError as fault:
            return refused(daemon, request, str(fault), "/settings", 400)
        code, link = access.invite(role), f"{request.base_url}pair"
        values = {"code": spoken(code), "role": role.label, "link": link,
                  "qr": qr_svg(f"{link}#{code}")}  # fmt: skip
        return screen(daemon, request, "code.html", values)

    @page.post("/phones/remove")
    async def remove(request: Request) -> Response:
        form = parse_form(await request.body())
        ident = form.get("phone", "")
        try:
            named = [one.name for one in access.keys.holders() if one.id == ident]
            question = tr("Remove {name}? It shows nothing until it is paired anew.",
                          name=" ".join(named) or ident)  # fmt: skip
            Answers.of(form.get("confirm", "")).choose(question, ("remove it",))
            access.keys.remove(ident, who_asks.get().name, utc_ms())
        except QuestionError as fault:
            values = {"asked": fault.asked, "fields": form, "action": "/phones/remove",
                      "back": "/settings"}  # fmt: skip
            return screen(daemon, request, "question.html", values, 409)
        except UsageError as fault:
            return refused(daemon, request, str(fault), "/settings", 400)
        return RedirectResponse("/settings", 303)

    @page.post("/node/backup")
    async def backup(request: Request) -> HTMLResponse:
        try:
            made = await asyncio.wrap_future(daemon.store.backup())
        except PitloggerError as fault:
            return refused(daemon, request, str(fault), "/settings", status_of(fault))
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
