"""``pitlogger devices send`` and ``forget``: what is done to a device through the daemon."""

from __future__ import annotations

from pathlib import Path

import click

from pitlogger.cli.client import Client, socket_option
from pitlogger.cli.output import by_option, emit, json_option


@click.command()
@click.argument("device")
@click.argument("command", required=False)
@by_option
@socket_option
@json_option
def send(device: str, command: str | None, by: str, socket: Path | None, as_json: bool) -> None:
    """Send COMMAND to DEVICE, such as zero or tare; without it, list what can be sent.

    The scale's own zero and tare change every mass that follows: the journal notes them.
    """
    client = Client(socket)
    if command is not None:
        entry = client.post(f"/devices/{device}/commands/{command}", by=by)
        emit(entry, as_json, f"{device}: {command} was sent")
        return
    from pitlogger.errors import UsageError, unknown

    known = {row["device"]: row["commands"] for row in client.get("/devices")}
    if device not in known:
        raise UsageError(unknown("device", device, known))
    words = ", ".join(known[device]) or "nothing can be sent to it"
    emit({"device": device, "commands": known[device]}, as_json, f"{device}: {words}")


@click.command()
@click.argument("device")
@by_option
@socket_option
@json_option
def forget(device: str, by: str, socket: Path | None, as_json: bool) -> None:
    """Forget what is remembered of DEVICE, after its battery was changed.

    A device that encrypts counts its messages, and an older count is refused as a replay. A new
    battery may start the count anew: only a person can know, so only a person can reset it.
    """
    entry = Client(socket).post(f"/devices/{device}/forget", by=by)
    emit(entry, as_json, f"{device}: forgotten; its next message is taken whatever its count")
