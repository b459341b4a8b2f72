"""``pitlogger uplink``: send this node's record to a hub."""

from __future__ import annotations

from typing import Any

import click

from pitlogger.cli.daemon import Daemon, to_daemon


@click.group()
def uplink() -> None:
    """Send this node's record to a hub, and see how that fares."""


@uplink.command()
@to_daemon
def status(daemon: Daemon) -> None:
    """Say which hub there is, what waits and what is wrong."""
    found = daemon.get("/uplink")
    daemon.emit(found, described(found))


def described(found: dict[str, Any]) -> str:
    """Return how an uplink fares, in words."""
    if found["hub"] is None:
        return f"node {found['uid']}: no hub. Join one: pitlogger uplink join HUB CODE"
    lines = [f"node {found['uid']} sends to {found['hub']}"]
    waiting = found["waiting"]
    lines.append("nothing waits" if not waiting else f"{waiting} bundles wait for their receipt")
    if found["refused"]:
        lines.append(f"{found['refused']} bundles were set aside by the hub: see the log")
    if found["contradicted"]:
        lines.append(
            f"{found['contradicted']} records are at the hub already and say something else there:"
            " the first stays. Two cards with one key? Give the copy a new record"
        )
    if found["fault"]:
        lines.append(found["fault"])
    return "\n".join(lines)


@uplink.command()
@click.argument("hub", required=False, default="")
@click.argument("code")
@to_daemon
def join(daemon: Daemon, hub: str, code: str) -> None:
    """Join a hub by the CODE that it shows.

    HUB is its address, such as kitchen.local; left out, it is found on the local network.
    """
    found = daemon.post("/uplink/join", hub=hub, code=code)
    words = f"joined {found['address']} as {found['tenant']}, {found['site']}"
    daemon.emit(found, f"{words}; all that is on record here is being sent")


@uplink.command()
@to_daemon
def leave(daemon: Daemon) -> None:
    """Stop sending. What the hub received stays there."""
    found = daemon.post("/uplink/leave")
    daemon.emit(found, described(found))
