"""Devices in reach: what is plugged in or heard, and which drivers may suit."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

from pitlogger.devices.contract import DriverInfo
from pitlogger.devices.registry import Registry
from pitlogger.errors import DriverError, TransportError
from pitlogger.web.page.plain_words import plain

if TYPE_CHECKING:
    from pitlogger.devices.reach import Find

LISTEN_S = 6.0


async def reach_screen(listen_s: float = LISTEN_S) -> dict[str, Any]:
    """Return what is in reach; listens for some seconds."""
    from pitlogger.devices.reach import heard, wired

    finds = await asyncio.to_thread(lambda: list(wired()))
    notes = []
    try:
        finds += await heard(listen_s)
    except TransportError as fault:
        notes.append(plain(f"Bluetooth was not looked at: {fault.message}"))
    infos = await asyncio.to_thread(_drivers)
    return {"sentence": _sentence(finds), "finds": [_find(one, infos) for one in finds],
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


def _find(find: Find, infos: list[DriverInfo]) -> dict[str, Any]:
    from pitlogger.devices.reach import suiting

    drivers = suiting(find, infos)
    return {
        "way": find.way,
        "address": find.address,
        "name": find.name,
        "signal": "" if find.signal_dbm is None else f"{find.signal_dbm} dBm",
        "note": plain(find.note),
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
    told = {"address": keys.get("address", ""), "name": keys.get("name", "")}
    if not any(told.values()):
        told["address"] = find.address  # it changes: good for pairing, which gives it a lasting one
    return told
