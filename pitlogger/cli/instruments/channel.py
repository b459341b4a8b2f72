"""``pitlogger channel``: where a channel sits now."""

from __future__ import annotations

import click

from pitlogger.cli.daemon import Daemon, to_journal
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
@to_journal
def moved(daemon: Daemon, channel_id: str) -> None:
    """Say that a probe was moved within its piece, or that swapped ones are put right.

    Its trend starts anew, and what was doubted of it is settled.
    """
    entry = daemon.post("/moves", channel=channel_id)
    daemon.emit(entry, f"{channel_id}: moved; its trend starts anew")
