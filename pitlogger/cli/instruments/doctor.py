"""``pitlogger devices doctor``: what keeps devices from being read, and what to do."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pitlogger.cli.client import socket_option
from pitlogger.cli.files import PATH
from pitlogger.cli.output import emit, json_option
from pitlogger.errors import DaemonUnreachableError

if TYPE_CHECKING:
    from pitlogger.devices.checks import Check


@click.command()
@click.option(
    "--config", "config_file", type=PATH,
    help="Configuration whose devices are looked at too.",
)  # fmt: skip
@click.option("--seconds", type=click.FloatRange(min=0.1), default=15.0, show_default=True,
              help="How long to read each device.")  # fmt: skip
@socket_option
@json_option
def doctor(config_file: Path | None, seconds: float, socket: Path | None, as_json: bool) -> None:
    """Look for what keeps devices from being read, and say what to do.

    Looks at this host. A daemon that runs is asked for the trouble it has with its devices;
    else those of --config are read for a while, all at once.
    """
    from pitlogger.devices.checks import CheckState
    from pitlogger.devices.doctor import examine

    checks = [
        *asyncio.run(examine()), _of_speech(config_file),
        *_of_devices(config_file, seconds, socket),
    ]  # fmt: skip
    troubles = sum(check.state is CheckState.TROUBLE for check in checks)
    document = {
        "checks": [
            {"about": c.about, "state": str(c.state), "found": c.found, "remedy": c.remedy}
            for c in checks
        ],
        "troubles": troubles,
    }
    emit(document, as_json, "\n".join(_check_text(check) for check in checks))
    if troubles:
        raise click.exceptions.Exit(1)


def _of_speech(config_file: Path | None) -> Check:
    """Return whether this machine can speak, which matters where it is to."""
    from pitlogger.config import load_config
    from pitlogger.devices.checks import Check, CheckState
    from pitlogger.notify.ways.speech import INSTALL, missing

    ways = load_config(config_file).notify.way if config_file is not None else ()
    if not (why := missing()):
        return Check("speech", CheckState.GOOD, "espeak-ng is installed")
    is_wanted = any(way.kind == "speech" for way in ways)
    return Check("speech", CheckState.TROUBLE if is_wanted else CheckState.ABSENT, why, INSTALL)


def _of_devices(config_file: Path | None, seconds: float, socket: Path | None) -> list[Check]:
    """Return what the daemon says of its devices or, where none runs, what they say themselves."""
    from pitlogger.bootstrap.devices import configured_devices
    from pitlogger.cli.client import Client
    from pitlogger.config import load_config
    from pitlogger.devices.checks import Check, CheckState
    from pitlogger.devices.configured import read_each, told_by_daemon

    config = load_config(config_file) if config_file is not None else None
    if config is not None:
        socket = socket or config.node.socket or config.node.data / "pitlogger.sock"
    try:
        client = Client(socket)
        return told_by_daemon(client.get("/devices"), client.get("/alerts"))
    except DaemonUnreachableError as fault:
        if config is None:
            return [] if socket is None else [Check("daemon", CheckState.ADVICE, str(fault))]
    wanted = {
        table.id: [channel.name for channel in table.channel if channel.name]
        for table in config.device
    }
    return asyncio.run(read_each(configured_devices(config), seconds, wanted))


def _check_text(check: Check) -> str:
    line = f"{check.state:<8} {check.about}: {check.found}"
    return f"{line}\n         {check.remedy}" if check.remedy else line
