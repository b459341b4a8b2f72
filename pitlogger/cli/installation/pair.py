"""``pitlogger pair`` and ``pitlogger phones``: who may open the page."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pitlogger.cli.daemon import DaemonClient, to_daemon
from pitlogger.cli.files import FOLDER
from pitlogger.cli.output import table
from pitlogger.errors import UsageError

ROLES = click.Choice(["look", "hands", "owner"])


@click.command()
@click.option("--role", type=ROLES, default="hands", show_default=True,
              help="look sees, hands works, owner also pairs and removes phones.")  # fmt: skip
@click.option("--certificate", "folder", type=FOLDER,
              help="Make a certificate for https into this folder instead of a code.")  # fmt: skip
@click.option("--name", "names", multiple=True,
              help="A name or address the page is opened by, beside the host's own.")  # fmt: skip
@to_daemon
def pair(daemon: DaemonClient, role: str, folder: Path | None, names: tuple[str, ...]) -> None:
    """Make a code that pairs one phone within ten minutes, and show it as a QR code too.

    With --certificate: over https a phone may keep its screen on and show notifications. The
    authority made for it is good for this node's names alone and its key is kept nowhere.
    """
    if folder is not None:
        daemon.emit(*_certified(folder, names))
        return
    if names:
        raise UsageError("--name goes with --certificate FOLDER")
    made = daemon.post("/phones/codes", role=role)
    daemon.emit(made, invitation(made))


def _certified(folder: Path, names: tuple[str, ...]) -> tuple[dict[str, Any], str]:
    """Make a certificate for the node's names, and return what was made in words too."""
    from datetime import UTC, datetime

    from pitlogger.service.certificate import issue
    from pitlogger.service.names import lan_address, own_names

    address = lan_address()
    every = dict.fromkeys([*sorted(own_names(names)), *([address] if address else [])])
    made = issue(folder, tuple(every), datetime.now(UTC))
    facts = {
        "authority": str(made.authority), "certificate": str(made.certificate),
        "key": str(made.key), "names": list(made.names), "until": f"{made.until:%Y-%m-%d}",
    }  # fmt: skip
    text = [
        f"certificate for {', '.join(made.names)}, good until {facts['until']}",
        "1. into the configuration, under [web], then restart:",
        f'   tls_cert = "{made.certificate.resolve()}"',
        f'   tls_key = "{made.key.resolve()}"',
        f"2. bring {made.authority} onto each phone and trust it there, under certificates",
        "It vouches for these names alone; its key was not kept: another address needs a new one.",
    ]
    return facts, "\n".join(text)


def invitation(made: dict[str, Any]) -> str:
    """Return a code as shown on a terminal: the code, the address, the QR code."""
    minutes = made["good_for_s"] // 60
    lines = [f"pairing code {made['code']} ({made['role']}), good once, for {minutes} min"]
    if made["link"] is None:
        lines.append("the page is off: set [web] enabled = true")
        return "\n".join(lines)
    lines.append(f"open {made['link'].partition('#')[0]} on the phone, or point its camera here:")
    return "\n".join([*lines, qr(made["link"])])


def qr(link: str) -> str:
    """Return a QR code drawn with half blocks, black on white whatever the terminal's colours."""
    import io

    import segno

    drawn = io.StringIO()
    segno.make(link, micro=False).terminal(out=drawn, compact=True)
    return drawn.getvalue().rstrip("\n")


@click.group()
def phones() -> None:
    """List phones and programs that hold a key, and take keys away."""


@phones.command("list")
@to_daemon
def list_phones(daemon: DaemonClient) -> None:
    """List who holds a key; removed ones stay listed."""
    rows = daemon.get("/phones")
    head = ["id", "name", "initials", "role", "kind", "last seen", "removed"]
    lines = [
        [row["id"], row["name"], row["initials"], row["role"], row["kind"], row["seen"],
         row["removed"] or ""]
        for row in rows
    ]  # fmt: skip
    daemon.emit(rows, table(lines, head) if rows else "no phone is paired yet: pitlogger pair")


@phones.command()
@click.argument("phone")
@to_daemon
def revoke(daemon: DaemonClient, phone: str) -> None:
    """Take the key of PHONE (its id or its name) away, at once."""
    gone = daemon.post(f"/phones/{phone}/remove")
    daemon.emit(gone, f"{gone['name']} can no longer open the page")


@phones.command()
@click.argument("name")
@click.option("--role", type=ROLES, default="look", show_default=True)
@to_daemon
def program(daemon: DaemonClient, name: str, role: str) -> None:
    """Make a key for the program NAME; it is shown this once."""
    made = daemon.post("/programs", name=name, role=role)
    daemon.emit(made, f"Authorization: Bearer {made['token']}")
