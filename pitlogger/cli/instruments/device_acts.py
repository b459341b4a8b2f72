"""``pitlogger devices send`` and ``forget``: what is done to a device through the daemon."""

from __future__ import annotations

import click

from pitlogger.cli.daemon import DaemonClient, to_journal


@click.command()
@click.argument("device")
@click.argument("command", required=False)
@to_journal
def send(daemon: DaemonClient, device: str, command: str | None) -> None:
    """Send COMMAND to DEVICE, such as zero or tare; without it, list what can be sent.

    The scale's own zero and tare change every mass that follows: the journal notes them.
    """
    if command is not None:
        entry = daemon.post(f"/devices/{device}/commands/{command}")
        daemon.emit(entry, f"{device}: {command} was sent")
        return
    from pitlogger.errors import UsageError, unknown

    known = {row["device"]: row["commands"] for row in daemon.get("/devices")}
    if device not in known:
        raise UsageError(unknown("device", device, known))
    words = ", ".join(known[device]) or "nothing can be sent to it"
    daemon.emit({"device": device, "commands": known[device]}, f"{device}: {words}")


@click.command()
@click.argument("device")
@to_journal
def forget(daemon: DaemonClient, device: str) -> None:
    """Forget what is remembered of DEVICE, after its battery was changed.

    A device that encrypts counts its messages, and an older count is refused as a replay. A new
    battery may start the count anew: only a person can know, so only a person can reset it.
    """
    entry = daemon.post(f"/devices/{device}/forget")
    daemon.emit(entry, f"{device}: forgotten; its next message is taken whatever its count")
