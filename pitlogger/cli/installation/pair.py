"""``pitlogger pair`` and ``pitlogger phones``: who may open the page."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pitlogger.cli.client import Client, socket_option
from pitlogger.cli.output import emit, json_option, table

ROLES = click.Choice(["look", "hands", "owner"])


@click.command()
@click.option("--role", type=ROLES, default="hands", show_default=True,
              help="look sees, hands works, owner also pairs and removes phones.")  # fmt: skip
@socket_option
@json_option
def pair(role: str, socket: Path | None, as_json: bool) -> None:
    """Make a code that pairs one phone within ten minutes, and show it as a QR code too."""
    made = Client(socket).post("/phones/codes", role=role)
    emit(made, as_json, invitation(made))


def invitation(made: dict[str, Any]) -> str:
    """Return a code as told on a terminal: the code, the address, the QR code."""
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
@socket_option
@json_option
def list_phones(socket: Path | None, as_json: bool) -> None:
    """List who holds a key; removed ones stay listed."""
    rows = Client(socket).get("/phones")
    head = ["id", "name", "initials", "role", "kind", "last seen", "removed"]
    lines = [
        [row["id"], row["name"], row["initials"], row["role"], row["kind"], row["seen"],
         row["removed"] or ""]
        for row in rows
    ]  # fmt: skip
    emit(rows, as_json, table(lines, head) if rows else "no phone is paired yet: pitlogger pair")


@phones.command()
@click.argument("phone")
@socket_option
@json_option
def revoke(phone: str, socket: Path | None, as_json: bool) -> None:
    """Take the key of PHONE (its id or its name) away, at once."""
    gone = Client(socket).post(f"/phones/{phone}/remove")
    emit(gone, as_json, f"{gone['name']} can no longer open the page")


@phones.command()
@click.argument("name")
@click.option("--role", type=ROLES, default="look", show_default=True)
@socket_option
@json_option
def program(name: str, role: str, socket: Path | None, as_json: bool) -> None:
    """Make a key for the program NAME; it is shown this once."""
    made = Client(socket).post("/programs", name=name, role=role)
    emit(made, as_json, f"Authorization: Bearer {made['token']}")
