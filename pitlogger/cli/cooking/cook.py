"""``pitlogger cook``: start, show, list and finish cooks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pitlogger.cli.client import Client, socket_option
from pitlogger.cli.output import by_option, emit, json_option, table


@click.group()
def cook() -> None:
    """Start, show, list and finish cooks."""


@cook.command()
@click.argument("file", type=click.Path(path_type=Path))
@by_option
@socket_option
@json_option
def start(file: Path, by: str, socket: Path | None, as_json: bool) -> None:
    """Start the cook that FILE (TOML) describes."""
    from pitlogger.formats.cook_file import load_cook

    load_cook(file)  # told with its file and line here, before the daemon is asked
    entry = Client(socket).post("/cooks", toml=file.read_text(encoding="utf-8"), by=by)
    emit(entry, as_json, f"started: {entry['cook']['name']}")


@cook.command()
@click.argument("name", required=False)
@socket_option
@json_option
def show(name: str | None, socket: Path | None, as_json: bool) -> None:
    """Show the running cook, or the journal of the cook NAMEd."""
    client = Client(socket)
    journal, status = client.get("/journal", cook=name), client.get("/status")
    lines = [] if name is not None else [status["sentence"]]
    lines += [f"{row['at']}  {row['seq']:>4}  {_words(row, status['units'])}" for row in journal]
    document = {"journal": journal} | ({} if name is not None else {"status": status})
    emit(document, as_json, "\n".join(lines))


def _words(row: dict[str, Any], units: dict[str, str]) -> str:
    from pitlogger.formats.journal_json import load_body
    from pitlogger.rules.messages import Units
    from pitlogger.views.entries import body_words

    by = f" ({row['by']})" if row["by"] else ""
    return f"{body_words(load_body(row), Units(**units))}{by}"


@cook.command("list")
@socket_option
@json_option
def list_cooks(socket: Path | None, as_json: bool) -> None:
    """List the cooks on record, newest first."""
    cooks = Client(socket).get("/cooks")
    rows = [[row["cook"], row["name"], row["started"], row["finished"] or "running"]
            for row in cooks]  # fmt: skip
    text = table(rows, ["cook", "name", "started", "finished"]) if rows else "no cook on record yet"
    emit({"cooks": cooks}, as_json, text)


@cook.command()
@by_option
@socket_option
@json_option
def finish(by: str, socket: Path | None, as_json: bool) -> None:
    """Finish the running cook."""
    entry = Client(socket).post("/cooks/finish", by=by)
    emit(entry, as_json, f"finished: {entry['name']} (how was the meal? pitlogger meal)")
