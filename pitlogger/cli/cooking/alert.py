"""``pitlogger alert``: list, acknowledge, shelve and settle alerts."""

from __future__ import annotations

from pathlib import Path

import click

from pitlogger.cli.client import Client, socket_option
from pitlogger.cli.output import by_option, emit, json_option
from pitlogger.views import words
from pitlogger.views.language import tr


@click.group()
def alert() -> None:
    """List, acknowledge, shelve and settle alerts."""


@alert.command("list")
@socket_option
@json_option
def list_alerts(socket: Path | None, as_json: bool) -> None:
    """List the alerts that are not normal, the most pressing first."""
    standing = Client(socket).get("/alerts")
    lines = [
        f"{row['alert']}  {words.state(row['state'])}  {tr(words.PRIORITIES[row['priority']])}"
        f"  {tr('since {at}', at=row['since'])}\n"
        f"  {row['message']}\n  {tr('Do: {remedy}', remedy=row['remedy'])}"
        for row in standing
    ]
    emit({"alerts": standing}, as_json, "\n".join(lines) or "no alert")


@alert.command()
@click.argument("key", metavar="ALERT")
@by_option
@socket_option
@json_option
def ack(key: str, by: str, socket: Path | None, as_json: bool) -> None:
    """Say "got it": the noise stops, the alert stays shown while it holds."""
    entry = Client(socket).post(f"/alerts/{key}/acknowledge", by=by)
    emit(entry, as_json, f"{key}: acknowledged")


@alert.command()
@click.argument("key", metavar="ALERT")
@click.argument("reply", metavar="ANSWER", default="")
@by_option
@socket_option
@json_option
def answer(key: str, reply: str, by: str, socket: Path | None, as_json: bool) -> None:
    """Answer a prompt: "not yet" to wrap-due, "yes" or "no" to a stage it looks to be in."""
    entry = Client(socket).post(f"/alerts/{key}/answer", reason=reply, by=by)
    emit(entry, as_json, f"{key}: answered (entry {entry['id']})")


@alert.command()
@click.argument("key", metavar="ALERT")
@click.argument("duration")
@click.option("--reason", required=True, help="Why it may be silent.")
@by_option
@socket_option
@json_option
def shelve(key: str, duration: str, reason: str, by: str, socket: Path | None,
           as_json: bool) -> None:  # fmt: skip
    """Mute ALERT for DURATION, such as "30 min"; it comes back by itself."""
    from pitlogger.model.quantities import parse_duration_ms

    minutes = parse_duration_ms(duration) / 60_000
    entry = Client(socket).post(f"/alerts/{key}/shelve", minutes=minutes, reason=reason, by=by)
    emit(entry, as_json, f"{key}: muted for {duration}")


@alert.command()
@click.argument("key", metavar="ALERT")
@click.option("--done", "reason", required=True, help="What was done with the food or the device.")
@by_option
@socket_option
@json_option
def reset(key: str, reason: str, by: str, socket: Path | None, as_json: bool) -> None:
    """Settle a latched alert once its cause is gone, saying what was done."""
    entry = Client(socket).post(f"/alerts/{key}/reset", reason=reason, by=by)
    emit(entry, as_json, f"{key}: settled")
