"""``pitlogger alert``: list, acknowledge, shelve and settle alerts."""

from __future__ import annotations

import click

from pitlogger.cli.daemon import DaemonClient, to_daemon, to_journal
from pitlogger.views import words
from pitlogger.views.language import tr


@click.group()
def alert() -> None:
    """List, acknowledge, shelve and settle alerts."""


@alert.command("list")
@to_daemon
def list_alerts(daemon: DaemonClient) -> None:
    """List the alerts that are not normal, the most pressing first."""
    standing = daemon.get("/alerts")
    lines = [
        f"{row['alert']}  {words.state(row['state'])}  {tr(words.PRIORITIES[row['priority']])}"
        f"  {tr('since {at}', at=row['since'])}\n"
        f"  {row['message']}\n  {tr('Do: {remedy}', remedy=row['remedy'])}"
        for row in standing
    ]
    daemon.emit({"alerts": standing}, "\n".join(lines) or "no alert")


@alert.command()
@click.argument("key", metavar="ALERT")
@to_journal
def ack(daemon: DaemonClient, key: str) -> None:
    """Say "got it": the noise stops, the alert stays shown while it holds."""
    entry = daemon.post(f"/alerts/{key}/acknowledge")
    daemon.emit(entry, f"{key}: acknowledged")


@alert.command()
@click.argument("key", metavar="ALERT")
@click.argument("reply", metavar="ANSWER", default="")
@to_journal
def answer(daemon: DaemonClient, key: str, reply: str) -> None:
    """Answer a prompt: "not yet" to wrap-due, "yes" or "no" to a stage it looks to be in."""
    entry = daemon.post(f"/alerts/{key}/answer", reason=reply)
    daemon.emit(entry, f"{key}: answered (entry {entry['id']})")


@alert.command()
@click.argument("key", metavar="ALERT")
@click.argument("duration")
@click.option("--reason", required=True, help="Why it may be silent.")
@to_journal
def shelve(daemon: DaemonClient, key: str, duration: str, reason: str) -> None:
    """Mute ALERT for DURATION, such as "30 min"; it comes back by itself."""
    from pitlogger.model.quantities import parse_duration_ms

    minutes = parse_duration_ms(duration) / 60_000
    entry = daemon.post(f"/alerts/{key}/shelve", minutes=minutes, reason=reason)
    daemon.emit(entry, f"{key}: muted for {duration}")


@alert.command()
@click.argument("key", metavar="ALERT")
@click.option("--done", "reason", required=True, help="What was done with the food or the device.")
@to_journal
def reset(daemon: DaemonClient, key: str, reason: str) -> None:
    """Settle a latched alert once its cause is gone, saying what was done."""
    entry = daemon.post(f"/alerts/{key}/reset", reason=reason)
    daemon.emit(entry, f"{key}: settled")
