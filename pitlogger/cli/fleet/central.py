"""A hub by itself: ``pitlogger hub init``, its processes, its upkeep, who may look."""

from __future__ import annotations

import asyncio
import subprocess
from contextlib import suppress
from dataclasses import asdict
from datetime import UTC, datetime
from importlib.metadata import entry_points
from pathlib import Path
from typing import Any

import click

from pitlogger.cli.fleet.direct import Direct, database_option
from pitlogger.cli.output import emit, json_option
from pitlogger.clock import ms_of, utc_ms
from pitlogger.errors import PitloggerError, UsageError

folder_option = click.option(
    "--data", "folder", type=click.Path(path_type=Path, file_okay=False), required=True,
    envvar="PITLOGGER_HUB_DATA", help="Folder with the hub's authority and certificates.",
)  # fmt: skip
needed = "give --database, or set PITLOGGER_HUB_DATABASE"


@click.command()
@folder_option
@click.option("--broker-port", type=click.IntRange(1, 65535), default=8883, show_default=True)
@database_option
@json_option
def init(folder: Path, broker_port: int, database: str | None, firm: str, as_json: bool) -> None:
    """Make tables and certificates, or bring them up to this version; harmless to repeat."""
    from pitlogger.hub.authority import hub_identity, service_certificate
    from pitlogger.hub.broker import CONFIGURATION, RULES
    from pitlogger.hub.nodes import Nodes
    from pitlogger.hub.opening import open_sink

    sink = open_sink(_given(database), create=True)
    now = datetime.now(UTC)
    identity = hub_identity(folder, now)
    with sink.database.transaction():
        Nodes(sink.database).tenant(firm)
    (folder / "authority.pem").write_bytes(identity.authority)
    for name, file in (("broker", "broker"), ("hub-ingest", "ingest")):
        service_certificate(folder, name, file, now)
    (folder / "rules").write_text(RULES, encoding="utf-8")
    settings = CONFIGURATION.format(port=broker_port, folder=folder.resolve())
    (folder / "mosquitto.conf").write_text(settings, encoding="utf-8")
    emit({"hub": sink.hub, "firm": firm, "folder": str(folder)}, as_json, (
        f"hub {sink.hub} of {firm} is ready; its keys lie in {folder}: keep them to its user\n"
        f"the broker's settings are {folder / 'mosquitto.conf'}: mosquitto -c FILE"
    ))  # fmt: skip


@click.command()
@folder_option
@click.option("--broker", required=True, metavar="ADDRESS", help="mqtts://HOST:8883")
@database_option
def ingest(folder: Path, broker: str, database: str | None, firm: str) -> None:
    """Take bundles from a broker into the database; run as many as there are cores."""
    from pitlogger.uplink.mqtt import broker_of

    broker_of(broker)
    _run(_process("ingest")(_given(database), folder, firm, broker, _told))


@click.command()
@folder_option
@click.option("--host", "address", required=True, help="Name or address by which nodes come.")
@click.option("--port", type=click.IntRange(0, 65535), default=8443, show_default=True)
@click.option("--page-port", type=click.IntRange(0, 65535), default=8444, show_default=True)
@click.option("--broker", default="", metavar="ADDRESS", help="Where nodes send; else by HTTPS.")
@database_option
def web(
    folder: Path, address: str, port: int, page_port: int, broker: str, database: str | None,
    firm: str,
) -> None:  # fmt: skip
    """Let nodes join and send by HTTPS, and show the firm's page."""
    from pitlogger.uplink.mqtt import broker_of

    if broker:
        broker_of(broker)
    _run(_process("web")(_given(database), folder, firm, address, port, page_port, broker, _told))


@click.command()
@database_option
@json_option
def verify(database: str | None, firm: str, as_json: bool) -> None:
    """Go through all of the hub's record: holes in journals, spans that cannot be read."""
    from pitlogger.hub.checking import verify as check
    from pitlogger.hub.opening import open_sink

    found = check(open_sink(_given(database)).database)
    gaps = "".join(f"\n{uid}: {missing} entries of run {run} are missing"
                   for uid, run, missing in found.gaps)  # fmt: skip
    damaged = "".join(f"\ndamaged: {what}" for what in found.damaged)
    emit(asdict(found), as_json, (
        f"{found.nodes} nodes, {found.entries} entries, {found.spans} spans,"
        f" {found.readings} readings; {found.conflicts} contradictions,"
        f" {found.refused} messages set aside{gaps}{damaged}"
    ))  # fmt: skip
    if found.damaged or found.gaps:
        click.get_current_context().exit(1)


@click.command()
@click.argument("out", type=click.Path(path_type=Path, dir_okay=False))
@database_option
@json_option
def backup(out: Path, database: str | None, firm: str, as_json: bool) -> None:
    """Write the hub's database into the new file OUT; see docs/fleet-operations.md."""
    from pitlogger.hub.opening import is_postgres

    if out.exists():
        raise UsageError(f"{out} is there already: name a new file")
    address = _given(database)
    if is_postgres(address):
        command = ["pg_dump", "--format=custom", f"--file={out}", f"--dbname={address}"]
        try:
            done = subprocess.run(  # noqa: S603  what is run and where stands in the command
                command, capture_output=True, text=True, check=False
            )
        except FileNotFoundError:
            raise PitloggerError("pg_dump is not here: install PostgreSQL's client") from None
        if done.returncode:
            out.unlink(missing_ok=True)
            raise PitloggerError(f"pg_dump failed: {done.stderr.strip().splitlines()[-1]}")
    else:
        from pitlogger.hub.opening import open_sink

        open_sink(address).database.run("VACUUM INTO ?", (str(out),))
    size = out.stat().st_size
    words = f"{out}, {size} bytes. The keys in the hub's folder are not in it: copy them too"
    emit({"file": str(out), "bytes": size}, as_json, words)


@click.group()
def member() -> None:
    """Who may look at the firm's page."""


@member.command("add")
@click.argument("name")
@click.option("--role", type=click.Choice(("owner", "manager", "cook", "inspector")), required=True)
@click.option("--site", "sites", multiple=True, help="What they see; may be repeated.")
@click.option("--until", type=click.DateTime(["%Y-%m-%d"]), help="The first day they look no more.")
@database_option
@json_option
def add(
    name: str, role: str, sites: tuple[str, ...], until: datetime | None, database: str | None,
    firm: str, as_json: bool,
) -> None:  # fmt: skip
    """Let NAME look, and print the key that lets them in; it is shown this once."""
    from pitlogger.hub.members import add_member

    hub = Direct(_given(database), firm)
    until_ms = None if until is None else ms_of(until.replace(tzinfo=UTC))
    token = add_member(hub.database, hub.tenant, name, role, list(sites), until_ms, utc_ms(),
                       "command line")  # fmt: skip
    emit({"name": name, "role": role, "token": token}, as_json,
         f"{name} looks as {role}; the key, shown this once:\n    {token}")  # fmt: skip


@member.command("remove")
@click.argument("name")
@database_option
@json_option
def remove(name: str, database: str | None, firm: str, as_json: bool) -> None:
    """Let NAME look no more, at once."""
    from pitlogger.hub.members import remove_member

    hub = Direct(_given(database), firm)
    remove_member(hub.database, hub.tenant, name, utc_ms(), "command line")
    emit({"removed": name}, as_json, f"{name} looks no more")


def _given(database: str | None) -> str:
    if not database:
        raise UsageError(f"which hub? {needed}")
    return database


def _process(name: str) -> Any:
    """Return what runs as a process of the hub; the web part is found as ``run`` finds its own."""
    (found,) = entry_points(group="pitlogger.hubs", name=name)
    return found.load()


def _told(text: str) -> None:
    click.echo(text)


def _run(work: Any) -> None:
    """Run until a signal."""
    import signal

    async def until_stopped() -> None:
        task = asyncio.ensure_future(work)
        loop = asyncio.get_running_loop()
        for number in (signal.SIGINT, signal.SIGTERM):
            loop.add_signal_handler(number, task.cancel)
        await task

    with suppress(asyncio.CancelledError):
        asyncio.run(until_stopped())
