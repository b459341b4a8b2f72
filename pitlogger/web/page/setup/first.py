"""First steps: what a new node needs, set on the page, each with where it stands."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Awaitable, Callable
from typing import Any

from pydantic import ValidationError

from pitlogger.config import PAGE_FILE, Config, PageTables, with_page
from pitlogger.errors import RefusedError, UsageError
from pitlogger.files import write_whole
from pitlogger.formats.toml_text import toml_document
from pitlogger.model.journal import Noted
from pitlogger.questions import Answers
from pitlogger.safety.policy import shipped_names, shipped_policy
from pitlogger.views.language import date, tr
from pitlogger.views.node import Node
from pitlogger.views.shown import MASS_UNITS, TEMPERATURE_UNITS, Shown
from pitlogger.web.access.roles import who_asks

UNITS = {"degrees-in": "temperature", "masses-in": "mass", "money-in": "currency"}  # by field
PREMISES = ("name", "address", "person_in_charge", "permit")


async def first_screen(daemon: Node, shown: Shown) -> dict[str, Any]:
    """Return each step: what is set, and whether the configuration holds it fast."""
    config, now = daemon.config, shown.moment(shown.now_ms)
    return {
        "node_name": config.node.name,
        "board": socket.gethostname(),
        "zone": f"{now:%H:%M} on {date(now, with_year=True)} ({now:%Z}, UTC{now.isoformat()[-6:]})",
        "units": config.units,
        "temperature_units": TEMPERATURE_UNITS,
        "mass_units": MASS_UNITS,
        "policy": config.policy.name,
        "policies": [(name, shipped_policy(name).title) for name in shipped_names()],
        "premises": config.premises,
        "ways": [way.id for way in config.notify.way],
        "own_ways": _page_ways(config),
        "held": sorted(held_fast(config)),
        "devices": len(daemon.supervisor.links()),
    }


def held_fast(config: Config) -> frozenset[str]:
    """Return the tables that stand in the configuration file, which the page leaves alone."""
    return config.own_tables & set(PageTables.model_fields)


async def _set(daemon: Node, table: str, values: dict[str, Any]) -> None:
    """Keep a table in ``page.toml`` and go on with it.

    Raises:
        RefusedError: It stands in the configuration file.
        FieldError: A value that cannot be used.
    """
    config = daemon.config
    if table in held_fast(config):
        raise RefusedError(
            tr("This stands in the configuration file of the node, and is changed there.")
        )
    others = set(PageTables.model_fields) - held_fast(config)
    kept = {name: _plain(getattr(config, name)) for name in sorted(others)}
    tables = {name: given for name, given in kept.items() if given} | {table: values}
    try:
        PageTables.model_validate(tables)
    except ValidationError as fault:
        wrong = fault.errors()[0]
        message = wrong["msg"].removeprefix("Value error, ")
        field = str(wrong["loc"][-1])
        names = {name: one for one, name in UNITS.items()} if table == "units" else {}
        raise UsageError(message, names.get(field, field)) from None
    path = config.node.data / PAGE_FILE
    text = "# Written by the page.\n" + toml_document(tables)
    await asyncio.to_thread(write_whole, path, text)
    await daemon.reload(with_page(config, path))


def _plain(table: Any) -> dict[str, Any]:
    """Return a table as it was given: what was not said is left out."""
    given: dict[str, Any] = table.model_dump(mode="json", exclude_unset=True)
    return given


def _page_ways(config: Config) -> list[dict[str, Any]]:
    if "notify" in held_fast(config):
        return []
    ways: list[dict[str, Any]] = _plain(config.notify).get("way", [])
    return ways


async def _units(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    before = daemon.config.units
    said = {name: form.get(field, "").strip() for field, name in UNITS.items()}
    values = _plain(before) | {name: unit for name, unit in said.items() if unit}
    await _set(daemon, "units", values)
    now, fields = (
        daemon.config.units,
        {field: getattr(before, name) for field, name in UNITS.items()},
    )
    words = tr("This node speaks in {temperature} and {mass}.",
               temperature=now.temperature, mass=now.mass)  # fmt: skip
    return {"said": words, "undo": {"action": "set-units", "fields": fields}}


async def _premises(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    before = daemon.config.premises
    values = {name: form[name].strip() for name in PREMISES if form.get(name, "").strip()}
    await _set(daemon, "premises", values)
    undo = {"action": "set-premises", "fields": {name: getattr(before, name) for name in PREMISES}}
    return {"said": tr("This stands at the head of the food log from now on."), "undo": undo}


async def _policy(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    """Judge by other limits from now on; asked about while food is on the way."""
    before, name = daemon.config.policy.name, form.get("policy", "")
    if name not in shipped_names():
        raise UsageError(tr("Choose one of the policies listed."), "policy")
    if daemon.cooks and name != before:
        question = tr(
            "A cook is open. Its clocks and verdicts go by {title} from now on?",
            title=shipped_policy(name).title,
        )
        Answers.of(form.get("confirm", "")).choose(question, ("yes",))
    await _set(daemon, "policy", _plain(daemon.config.policy) | {"name": name})
    if daemon.cooks and name != before:
        words = f"food-safety policy changed from {before} to {name}"
        await daemon.submit(Noted(words), who_asks.get().initials, form.get("key", ""))
    said = tr("Food is judged by {title}.", title=daemon.safety.title)
    return {"said": said, "undo": {"action": "set-policy", "fields": {"policy": before}}}


async def _way(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    """Add a way of being told, or another address for the one of that name."""
    name = form.get("id", "").strip() or "phone"
    way = {"kind": "ntfy", "id": name, "url": form.get("url", "").strip()}
    if form.get("contact"):
        way["contact"] = form["contact"]
    others = [one for one in _page_ways(daemon.config) if one.get("id") != name]
    await _set(daemon, "notify", _plain(daemon.config.notify) | {"way": [*others, way]})
    undo = {"action": "drop-way", "fields": {"id": name}}
    return {"said": tr("{way} is told from now on. Try it: does it ring?", way=name), "undo": undo}


async def _drop_way(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    name, ways = form.get("id", ""), _page_ways(daemon.config)
    gone = next((one for one in ways if one.get("id") == name), None)
    if gone is None:
        raise RefusedError(tr("{way} is none of the ways that were set here.", way=name or "-"))
    left = [one for one in ways if one is not gone]
    await _set(daemon, "notify", _plain(daemon.config.notify) | {"way": left})
    fields = {key: str(gone[key]) for key in ("id", "url", "contact") if gone.get(key)}
    said = tr("{way} is not told any more.", way=name)
    return {"said": said, "undo": {"action": "set-way", "fields": fields}}


FIRST: dict[str, Callable[[Node, dict[str, str], Shown], Awaitable[dict[str, Any]]]] = {
    "set-units": _units,
    "set-premises": _premises,
    "set-policy": _policy,
    "set-way": _way,
    "drop-way": _drop_way,
}
