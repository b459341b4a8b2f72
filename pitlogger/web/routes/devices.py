"""The API of devices: how each fares, what can be sent to it, what is remembered of it."""

from __future__ import annotations

from dataclasses import asdict

from fastapi import APIRouter

from pitlogger.devices.supervisor import Link
from pitlogger.errors import RefusedError, TransportError
from pitlogger.views.journal import EntryView
from pitlogger.views.node import Node
from pitlogger.views.view import View
from pitlogger.web.actions import decide
from pitlogger.web.requests import Ask, NoteAsk
from pitlogger.web.routes.entry_answer import entry_answer


class DeviceView(View):
    """How a device fares; ``link`` is ``None`` before anything was heard of it."""

    device: str
    driver: str
    link: Link | None
    message: str
    remedy: str
    commands: tuple[str, ...]


def make_device_api(daemon: Node) -> APIRouter:
    """Return the routes, bound to a daemon."""
    api = APIRouter(prefix="/api/v1")

    @api.get("/devices", summary="Devices: whether each can be read, and what can be sent to it")
    async def listed() -> list[DeviceView]:
        drivers = {table.id: table.driver for table in daemon.config.device}
        return [
            DeviceView(
                device=name,
                driver=drivers.get(name, ""),
                **asdict(daemon.supervisor.standing(name)),
                commands=daemon.supervisor.commands(name),
            )
            for name in daemon.supervisor.links()
        ]

    @api.post("/devices/{device}/commands/{command}", summary="Send a command, such as zero")
    async def send(device: str, command: str, ask: Ask) -> EntryView:
        return await send_command(daemon, device, command, ask)

    @api.post("/devices/{device}/forget", summary="Forget what is remembered of a device")
    async def forget(device: str, ask: Ask) -> EntryView:
        await daemon.forget(device)
        return await _noted(daemon, f"what was remembered of {device} is forgotten", ask)

    return api


async def send_command(daemon: Node, device: str, command: str, ask: Ask) -> EntryView:
    """Send a command to a device and return the entry that says so.

    Raises:
        UsageError: The device knows no such command.
        RefusedError: No such device, or it cannot be reached.
    """
    try:
        await daemon.supervisor.command(device, command)
    except TransportError as fault:
        raise RefusedError(str(fault)) from fault
    return await _noted(daemon, f"'{command}' was sent to {device}", ask)


async def _noted(daemon: Node, text: str, ask: Ask) -> EntryView:
    """Enter into the journal what was done to a device, and by whom."""
    note = NoteAsk(text=text, by=ask.by, key=ask.key)
    return entry_answer(daemon, await decide(daemon, "note", note))
