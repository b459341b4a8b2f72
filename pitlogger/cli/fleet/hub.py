"""``pitlogger hub``: the records of several nodes in one place."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pitlogger.cli.client import socket_option
from pitlogger.cli.fleet import central
from pitlogger.cli.fleet.direct import database_option, hub_at
from pitlogger.cli.output import emit, json_option, table


@click.group()
def hub() -> None:
    """Take in nodes and ask across them: on a node with [hub] enabled = true, or by itself."""


@hub.command()
@click.option("--site", default="home", show_default=True, help="Where the node will belong.")
@socket_option
@database_option
@json_option
def invite(site: str, socket: Path | None, database: str | None, firm: str, as_json: bool) -> None:
    """Make a code by which one node joins within 15 minutes."""
    made = hub_at(socket, database, firm).post("/hub/invitations", site=site)
    emit(made, as_json, (
        f"on the other node, within 15 minutes:\n"
        f"    pitlogger uplink join {made['address']} {made['code']}"
    ))  # fmt: skip


@hub.command()
@socket_option
@database_option
@json_option
def status(socket: Path | None, database: str | None, firm: str, as_json: bool) -> None:
    """List the nodes: site, version, entries, when last heard, what is odd."""
    rows = hub_at(socket, database, firm).get("/hub/nodes")
    head = ["node", "name", "site", "state", "version", "entries", "last heard", "odd"]
    emit(rows, as_json, table([_row(row) for row in rows], head))


def _row(row: dict[str, Any]) -> list[str]:
    from pitlogger.clock import rfc3339

    odd = []
    if row["conflicts"]:
        odd.append(f"{row['conflicts']} contradictions")
    if row["cloned_ms"] is not None:
        odd.append("two cards with one key: give the copy a new record")
    if row["clock_off_ms"]:
        odd.append(f"its clock is {abs(row['clock_off_ms']) // 60_000} min off")
    heard = "-" if row["received_ms"] is None else rfc3339(row["received_ms"])
    return [row["uid"], row["name"], row["site"], row["state"], row["version"] or "-",
            str(row["entries"]), heard, "; ".join(odd) or "-"]  # fmt: skip


@hub.command()
@socket_option
@database_option
@json_option
def now(socket: Path | None, database: str | None, firm: str, as_json: bool) -> None:
    """Show every pit as it stands, the worst first."""
    rows = hub_at(socket, database, firm).get("/hub/now")
    emit(rows, as_json, "\n".join(_standing(row) for row in rows) or "no node has spoken yet")


def _standing(row: dict[str, Any]) -> str:
    from pitlogger.clock import rfc3339

    document = row["document"]
    pieces = ", ".join(f"{piece['id']} {piece['stage']}" for piece in document["pieces"])
    alarms = f", {row['alarms']} alarms" if row["alarms"] else ""
    age = f" (last heard {rfc3339(row['received_ms'])})" if row["is_old"] else ""
    return f"{row['site']}, {row['name']}: {pieces or 'no cook'}{alarms}{age}"


@hub.command()
@click.option("--days", type=click.IntRange(1, 90), default=1, show_default=True)
@socket_option
@database_option
@json_option
def exceptions(
    days: int, socket: Path | None, database: str | None, firm: str, as_json: bool
) -> None:
    """List the alerts raised at any site within the last days, newest first."""
    from pitlogger.clock import rfc3339

    rows = hub_at(socket, database, firm).get("/hub/exceptions", days=days)
    head = ["when", "site", "node", "what", "about", "now"]
    emit(rows, as_json, table([
        [rfc3339(row["utc_ms"]), row["site"], row["node"], row["kind"], row["subject"],
         row["state"]] for row in rows
    ], head))  # fmt: skip


@hub.command("yield")
@socket_option
@database_option
@json_option
def yields(socket: Path | None, database: str | None, firm: str, as_json: bool) -> None:
    """Compare servable yield by cut and site."""
    found = hub_at(socket, database, firm).get("/hub/yields")
    head = ["cut", "site", "pieces", "own", "drawn to the firm's", "4 in 5 within"]
    rows = [
        [row["cut"], row["site"], str(row["pieces"]), f"{row['own']:.1%}", f"{row['shrunk']:.1%}",
         f"{row['low']:.1%} to {row['high']:.1%}"] for row in found["rows"]
    ]  # fmt: skip
    emit(found, as_json, f"{table(rows, head)}\n{found['sentence']}")


def _state_command(name: str, state: str, about: str) -> None:
    @hub.command(name, help=about)
    @click.argument("uid")
    @socket_option
    @database_option
    @json_option
    def change(
        uid: str, socket: Path | None, database: str | None, firm: str, as_json: bool
    ) -> None:
        changed = hub_at(socket, database, firm).post(f"/hub/nodes/{uid}", state=state)
        emit(changed, as_json, f"{uid} is {state} from its next bundle on; its records stay")


_state_command("retire", "retired", "Take no more from node UID; its records stay.")
_state_command("stolen", "stolen", "Report node UID stolen: it is never taken in again.")
_state_command("enrol", "enrolled", "Take a retired node UID back.")


for _command in (
    central.init,
    central.ingest,
    central.web,
    central.verify,
    central.backup,
    central.member,
):
    hub.add_command(_command)
