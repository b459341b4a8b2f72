"""``pitlogger hub``: the records of several nodes in one place."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

import click

from pitlogger.cli.client import Client, socket_option
from pitlogger.cli.fleet import central
from pitlogger.cli.fleet.direct import Direct, database_option
from pitlogger.cli.output import emit, json_option, table
from pitlogger.model.quantities import show_share

Hub = Client | Direct  # the node that it is in, or its database
Answer = tuple[Any, str]  # a document, and its text


def to_hub(run: Callable[..., Answer]) -> Callable[..., None]:
    """Add the options by which a hub is reached; the command gets it, and its answer is printed."""

    @socket_option
    @database_option
    @json_option
    @wraps(run)
    def command(
        socket: Path | None, database: str | None, firm: str, as_json: bool, **given: Any
    ) -> None:
        at = Client(socket) if database is None else Direct(database, firm)
        document, text = run(at, **given)
        emit(document, as_json, text)

    return command


@click.group()
def hub() -> None:
    """Take in nodes and ask across them: on a node with [hub] enabled = true, or by itself."""


@hub.command()
@click.option("--site", default="home", show_default=True, help="Where the node will belong.")
@to_hub
def invite(at: Hub, site: str) -> Answer:
    """Make a code by which one node joins within 15 minutes."""
    from pitlogger.formats.join_code import join_line

    made = at.post("/hub/invitations", site=site)
    line = join_line(made["address"], made["code"])
    return made, f"on the other node, within 15 minutes, as a command or on its page:\n    {line}"


@hub.command()
@to_hub
def status(at: Hub) -> Answer:
    """List the nodes: site, version, entries, when last heard, what is odd."""
    rows = at.get("/hub/nodes")
    head = ["node", "name", "site", "state", "version", "entries", "last heard", "odd"]
    return rows, table([_row(row) for row in rows], head)


def _row(row: dict[str, Any]) -> list[str]:
    from pitlogger.clock import rfc3339
    from pitlogger.hub.questions import NodeHealth

    heard = "-" if row["received_ms"] is None else rfc3339(row["received_ms"])
    return [row["uid"], row["name"], row["site"], row["state"], row["version"] or "-",
            str(row["entries"]), heard, NodeHealth(**row).odd or "-"]  # fmt: skip


@hub.command()
@to_hub
def now(at: Hub) -> Answer:
    """Show every pit as it stands, the worst first."""
    rows = at.get("/hub/now")
    return rows, "\n".join(_standing(row) for row in rows) or "no node has spoken yet"


def _standing(row: dict[str, Any]) -> str:
    from pitlogger.clock import rfc3339

    document = row["document"]
    pieces = ", ".join(f"{piece['id']} {piece['stage']}" for piece in document["pieces"])
    alarms = f", {row['alarms']} alarms" if row["alarms"] else ""
    age = f" (last heard {rfc3339(row['received_ms'])})" if row["is_old"] else ""
    return f"{row['site']}, {row['name']}: {pieces or 'no cook'}{alarms}{age}"


@hub.command()
@click.option("--days", type=click.IntRange(1, 90), default=1, show_default=True)
@to_hub
def exceptions(at: Hub, days: int) -> Answer:
    """List the alerts raised at any site within the last days, newest first."""
    from pitlogger.clock import rfc3339

    rows = at.get("/hub/exceptions", days=days)
    head = ["when", "site", "node", "what", "about", "now"]
    return rows, "no alert was raised at any site" if not rows else table([
        [rfc3339(row["utc_ms"]), row["site"], row["node"], row["kind"], row["subject"],
         row["state"]] for row in rows
    ], head)  # fmt: skip


@hub.command("yield")
@to_hub
def yields(at: Hub) -> Answer:
    """Compare servable yield by cut and site."""
    found = at.get("/hub/yields")
    head = ["cut", "site", "pieces", "own", "drawn to the firm's", "4 in 5 within"]
    rows = [
        [row["cut"], row["site"], str(row["pieces"]),
         show_share(row["own"], 1), show_share(row["shrunk"], 1),
         f"{show_share(row['low'], 1)} to {show_share(row['high'], 1)}"] for row in found["rows"]
    ]  # fmt: skip
    return found, f"{table(rows, head)}\n{found['sentence']}"


def _state_command(name: str, state: str, about: str) -> None:
    @hub.command(name, help=about)
    @click.argument("uid")
    @to_hub
    def change(at: Hub, uid: str) -> Answer:
        changed = at.post(f"/hub/nodes/{uid}", state=state)
        return changed, f"{uid} is {state} from its next bundle on; its records stay"


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
