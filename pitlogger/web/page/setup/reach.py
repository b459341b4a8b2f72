"""Devices in reach: what is plugged in or heard, and which drivers may suit."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

from pitlogger.devices.contract import DriverInfo
from pitlogger.devices.registry import Registry
from pitlogger.errors import DriverError, TransportError
from pitlogger.views.language import tr
from pitlogger.web.page.plain_words import plain

if TYPE_CHECKING:
    from pitlogger.config import Config
    from pitlogger.devices.reach import Find

LISTEN_S = 6.0


async def reach_screen(config: Config, listen_s: float = LISTEN_S) -> dict[str, Any]:
    """Return what is in reach, and which of it is read already; listens for some seconds."""
    from pitlogger.devices.reach import heard, wired

    finds = await asyncio.to_thread(lambda: list(wired()))
    notes = []
    try:
        finds += await heard(listen_s)
    except TransportError as fault:
        notes.append(plain(f"Bluetooth was not looked at: {fault.message}"))
    infos = await asyncio.to_thread(_drivers)
    return {"sentence": _sentence(finds), "finds": [_find(one, infos, config) for one in finds],
            "notes": notes}  # fmt: skip


def _drivers() -> list[DriverInfo]:
    registry, found = Registry(), []
    for name in registry.names():
        try:
            found.append(registry.load(name).info)
        except DriverError:
            continue  # one that does not load suits nothing; 'devices list' tells why
    return found


def _sentence(finds: list[Find]) -> str:
    if not finds:
        return "Nothing is in reach."
    return f"{len(finds)} device{'s' * (len(finds) != 1)} in reach."


def _read_as(find: Find, config: Config) -> str:
    """Return the id of the device that a find is, empty where none of the configuration is it."""
    told = {key: value.casefold() for key, value in find.keys}
    for table in config.device:
        own = {key: str(value).casefold() for key, value in table.own_keys().items()}
        if told and told.items() <= own.items():
            return table.id
    return ""


def _find(find: Find, infos: list[DriverInfo], config: Config) -> dict[str, Any]:
    from pitlogger.devices.drafting import is_the_boards_own
    from pitlogger.devices.reach import suiting

    drivers = suiting(find, infos)
    own = tr("Mostly the heat of the computer itself: no probe.")
    return {
        "way": find.way,
        "address": find.address,
        "name": find.name,
        "signal": "" if find.signal_dbm is None else f"{find.signal_dbm} dBm",
        "note": own if is_the_boards_own(find) else plain(find.note),
        "read_as": _read_as(find, config),
        "keys": dict(find.keys),
        "drivers": drivers,
        "point": _to_point(find),
    }


def _to_point(find: Find) -> dict[str, str]:
    """Return the fields of a form that points at it or pairs with it; none where that cannot be."""
    keys = dict(find.keys)
    if find.way == "serial":
        return {"port": keys["port"]}
    if find.way == "hid":
        return {"hid": next(iter(find.signs)).removeprefix("hid:")}
    if find.way != "bluetooth":
        return {}
    told = {"address": keys.get("address", ""), "name": keys.get("name", ""), "called": find.name}
    if not (told["address"] or told["name"]):
        told["address"] = find.address  # it changes: good for pairing, which gives it a lasting one
    return told
