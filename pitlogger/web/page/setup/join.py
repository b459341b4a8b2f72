"""Joining a device by phone: point at it or pair with it, answer, look, write."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse

from pitlogger.config import joined_from, parted_from
from pitlogger.devices.pointing.joined import slug
from pitlogger.devices.pointing.session import FIRST, PULL, SECOND, WARM
from pitlogger.devices.registry import Registry
from pitlogger.devices.transports.ble.settings import DeviceSettings
from pitlogger.errors import PitloggerError, RefusedError, UsageError
from pitlogger.files import write_whole
from pitlogger.formats.toml_text import toml_table
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Site
from pitlogger.views import words
from pitlogger.views.language import mark, tr
from pitlogger.views.node import Node
from pitlogger.web.joining import Joining, Talk, way_of
from pitlogger.web.page.forms import parse_form
from pitlogger.web.page.plain_words import plain
from pitlogger.web.page.view import refused, screen

LISTEN_S = 5.0  # to each driver that may suit
_T, _M = Quantity.TEMPERATURE, Quantity.MASS
SITES = (Site.CORE, Site.PIT, Site.SURFACE, Site.HOLD, Site.COLD, Site.ROOM)
# What a question says on the page, and the answers that are buttons; without one a field is shown.
STEPS: dict[str, tuple[str, tuple[tuple[str, str], ...]]] = {
    WARM[_T]: (mark("Warm one probe in your hand for half a minute."), (("", mark("Done")),)),
    WARM[_M]: (mark("Put something on the scale, a pound or more."), (("", mark("Done")),)),
    FIRST[_T]: (
        mark("Put that probe into ice water, stir, wait until it is steady. What is true?"),
        (),
    ),
    FIRST[_M]: (mark("Put a mass on that you know. What is true?"), ()),
    SECOND[_T]: (
        mark("Now somewhere warm, beside a thermometer you trust. What is true?"),
        (),
    ),
    SECOND[_M]: (mark("Now another mass that you know. What is true?"), ()),
    PULL[_T]: (
        mark("Unplug that probe and wait for some seconds."),
        (("", mark("It is unplugged")), ("-", mark("It cannot be unplugged"))),
    ),
    PULL[_M]: (
        mark("Lift the platter off, or overload it."),
        (("", mark("Done")), ("-", mark("Leave this out"))),
    ),
    "passkey": (mark("Write the six digits that the device shows."), ()),
    "same": (
        mark("Does the device show the same six digits?"),
        (("yes", mark("The same")), ("no", mark("Other digits"))),
    ),
}
EXAMPLES = {FIRST[_T]: "0 C", SECOND[_T]: "75 C", FIRST[_M]: "2 kg", SECOND[_M]: "4 kg"}


def add_joining(page: APIRouter, daemon: Node, joining: Joining) -> None:
    """Add the screen of a device that is being joined, and what its forms do."""

    @page.get("/join")
    async def join(request: Request) -> HTMLResponse:
        return screen(daemon, request, "join.html", join_screen(joining.talk))

    @page.get("/join/state")
    async def state(request: Request) -> JSONResponse:
        talk = joining.talk
        seen = {} if talk is None else {"turn": talk.turn, "live": talk.live,
                                        "lines": list(talk.lines)}  # fmt: skip
        return JSONResponse(seen, headers={"Cache-Control": "no-store"})

    @page.post("/join/{step}")
    async def step(step: str, request: Request) -> Response:
        try:
            form = parse_form(await request.body())
            if step in _DONE:
                said = await _DONE[step](daemon, joining, form)
                return screen(daemon, request, "done.html", {"message": said, "back": "/settings"})
            await _take(joining, step, form)
        except PitloggerError as fault:
            status = 400 if isinstance(fault, UsageError) else 409
            return refused(daemon, request, str(fault), "/join", status)
        return RedirectResponse("/reach" if step == "stop" else "/join", 303)


def join_screen(talk: Talk | None) -> dict[str, Any]:
    """Return what is asked now, what was said, and what was found."""
    if talk is None:
        return {"sentence": tr("No device is being joined."), "talk": None, "found": None}
    sites = (Site.BENCH, Site.GRATE) if talk.quantity is _M else SITES
    text, answers = STEPS.get(talk.asked, (talk.asked, ()))
    found = talk.found
    sentence = tr(text) if text else tr("Leave it alone for a moment.")
    if found is not None:
        sentence = tr("This was found. Nothing is written yet.")
    return {
        "sentence": plain(talk.ended) if talk.ended else sentence,
        "talk": talk,
        "asked": talk.asked,
        "answers": [(value, tr(word)) for value, word in answers],
        "example": EXAMPLES.get(talk.asked, ""),
        "found": None if found is None else found.in_words(),
        "channels": () if found is None else found.channels,
        "own": "" if found is None else found.own,
        "sites": [(site.value, words.capital(words.site(site))) for site in sites],
    }


async def _take(joining: Joining, step: str, form: dict[str, str]) -> None:
    if step == "point":
        quantity = _M if form.get("measures") == "mass" else _T
        joining.point(way_of(form), quantity, form.get("called", ""))
    elif step == "pair":
        settings = DeviceSettings(form.get("address", ""), form.get("name", ""))
        joining.pair(settings, anew=form.get("anew") == "yes")
    elif step == "answer" and joining.talk is not None:
        turn = form.get("turn", "")
        joining.talk.answer(form.get("answer", ""), int(turn) if turn.isdecimal() else -1)
    elif step == "stop":
        await joining.stop()
    else:
        raise UsageError("there is nothing to do here: begin with a device in reach")


async def _write(daemon: Node, joining: Joining, form: dict[str, str]) -> str:
    """Write what was found and begin to read it; return what was done in words."""
    sites = {
        name.removeprefix("site."): value
        for name, value in form.items()
        if name.startswith("site.") and value
    }
    path = await joining.write(form.get("name", "").strip(), sites)
    return await _read(daemon, path)


async def _add(daemon: Node, joining: Joining, form: dict[str, str]) -> str:
    """Write a device that a driver is known for, and begin to read it."""
    own, suits = slug(form.get("own", "")), form.get("driver", "").split(",")
    if not set(suits) <= set(Registry().names()) or not own:
        raise UsageError("say what to call it, and by which driver it is read")
    keys = {name.removeprefix("key."): text for name, text in form.items() if name[:4] == "key."}
    path = joining.folder / f"{own}.toml"
    if path.exists() or any(device.id == own for device in daemon.config.device):
        raise UsageError(f"there is a device '{own}' already: give this one another name")
    driver = suits[0] if len(suits) == 1 else await _found_out(own, keys, suits)
    path.parent.mkdir(parents=True, exist_ok=True)
    text = toml_table("[[device]]", {"id": own, "driver": driver, **keys})
    await asyncio.to_thread(write_whole, path, text)
    try:
        return await _read(daemon, path)
    except PitloggerError:
        path.unlink()  # the driver needs more than is known here: nothing was joined
        raise


async def _found_out(own: str, keys: dict[str, str], suits: list[str]) -> str:
    """Return the one of several drivers that reads a device, listened to for some seconds.

    Raises:
        RefusedError: None does.
    """
    from pitlogger.devices.reach import Find
    from pitlogger.devices.sampling import best

    find = Find("", own, own, frozenset(), tuple(keys.items()))
    tried = await best(find, suits, Registry(), LISTEN_S)
    if not tried.said or tried.refused:
        raise RefusedError(
            f"nothing could be read from it ({tried.refused or 'it sends nothing by itself'}): "
            "switch it on, choose how it speaks if it answers only when it is asked, or point at it"
        )
    return tried.driver.name


async def _drop(daemon: Node, joining: Joining, form: dict[str, str]) -> str:
    """Read a device no more that was joined here; its file stays under another name."""
    name = form.get("device", "")
    path = joining.folder / f"{name}.toml"
    if all(table.id != name for table in daemon.config.device) or not path.exists():
        raise UsageError(
            f"'{name}' was not joined on the page: take it out of the configuration file"
        )
    await daemon.reload(parted_from(daemon.config, path))
    await asyncio.to_thread(path.replace, path.with_suffix(".old"))
    return tr("{device} is read no more.", device=name)


_DONE = {"write": _write, "add": _add, "drop": _drop}


async def _read(daemon: Node, path: Path) -> str:
    await daemon.reload(joined_from(daemon.config, path))
    return tr("{device} is written, and read from now on.", device=path.stem)
