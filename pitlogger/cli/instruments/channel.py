"""``pitlogger channel``: where a channel sits now."""

from __future__ import annotations

import click

from pitlogger.cli.daemon import Daemon, to_journal
from pitlogger.cli.moments import moment_text
from pitlogger.model.readings import Site


@click.group()
def channel() -> None:
    """Say where a channel sits now; the old assignment stays on record."""


@channel.command()
@click.argument("channel_id", metavar="CHANNEL")
@click.argument("site", type=click.Choice([site.value for site in Site]))
@click.option("--piece", help="The piece it is in.")
@click.option("--lead", is_flag=True, help="This core decides wrap and pull from now on.")
@to_journal
def assign(daemon: Daemon, channel_id: str, site: str, piece: str | None, lead: bool) -> None:
    """Say that CHANNEL sits at SITE from now on, as after moving a probe."""
    table = {"id": channel_id, "site": site} | ({} if piece is None else {"piece": piece})
    entry = daemon.post("/assignments", channel=table, lead=lead)
    where = f"{site} of {piece}" if piece else site
    daemon.emit(entry, f"{channel_id}: {where}")


@channel.command()
@click.argument("channel_id", metavar="CHANNEL")
@click.argument("doubt", type=click.Choice(["right", "wrong"]))
@click.option("--since", metavar="TIME", help="A moment of the doubt; its last one by default.")
@to_journal
def doubt(daemon: Daemon, channel_id: str, doubt: str, since: str | None) -> None:
    """Say that what was doubted of CHANNEL was right, or wrong (--by INITIALS).

    Wrong wants a hand reading beside it, taken while it was doubted, that agrees: a word alone
    gives no credit. 'pitlogger undo' takes the word back.
    """
    entry = daemon.post(
        "/doubts", channel=channel_id, doubt=doubt, since=moment_text(since, daemon)
    )
    daemon.emit(entry, f"{channel_id}: the doubt was {doubt} (entry {entry['id']})")


@channel.command()
@click.argument("channel_id", metavar="CHANNEL")
@to_journal
def moved(daemon: Daemon, channel_id: str) -> None:
    """Say that a probe was moved within its piece, or that swapped ones are put right.

    Its trend starts anew, and what was doubted of it is settled.
    """
    entry = daemon.post("/moves", channel=channel_id)
    daemon.emit(entry, f"{channel_id}: moved; its trend starts anew")
