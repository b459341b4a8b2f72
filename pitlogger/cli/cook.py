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
    journal = client.get("/journal", cook=name)
    if as_json:
        document = {"journal": journal}
        if name is None:
            document["status"] = client.get("/status")
        emit(document, True, "")
        return
    lines = [client.get("/status")["sentence"]] if name is None else []
    lines += [f"{row['at']}  {row['seq']:>4}  {_words(row)}" for row in journal]
    click.echo("\n".join(lines))


def _words(row: dict[str, Any]) -> str:
    by = f" ({row['by']})" if row["by"] else ""
    match row["kind"]:
        case "stage-set":
            return f"{row['piece']}: {row['stage']}{by}"
        case "weighed":
            net_g = (row["gross_mg"] - row["tare_mg"]) / 1000
            return f"{row['piece']} at {row['checkpoint']}: {net_g:.0f} g{by}"
        case "spot-read":
            where = row.get("piece") or row["site"]
            return f"{where}: {row['value_mc'] / 1000:.1f} C by hand{by}"
        case "alert-changed":
            return f"{row['alert_kind']} {row['now']}: {row['message']}{by}"
        case "noted":
            return f"note: {row['text']}{by}"
        case "undone":
            return f"entry {row['of_seq']} taken back{by}"
        case "corrected":
            return f"entry {row['of_seq']} corrected{by}"
        case "cook-started":
            return f"cook started: {row['cook']['name']}{by}"
        case _:
            subject = row.get("piece") or row.get("channel") or row.get("device") or ""
            named = subject if isinstance(subject, str) else subject.get("id", "")
            return f"{row['kind']} {named}{by}".rstrip()


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
    emit(entry, as_json, f"finished: {entry['name']}")
