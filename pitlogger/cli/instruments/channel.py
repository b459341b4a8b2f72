"""``pitlogger channel``: where a channel sits now."""

from __future__ import annotations

import click

from pitlogger.cli.daemon import DaemonClient, to_journal
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
@click.option("--at", metavar="TIME", help="Since when it sits there, where you say so later.")
@to_journal
def assign(
    daemon: DaemonClient, channel_id: str, site: str, piece: str | None, lead: bool, at: str | None
) -> None:
    """Say that CHANNEL sits at SITE from now on, or since a time: what it read is tagged anew.

    What is tagged anew gives no credit towards a food limit: a hand reading does.
    """
    table = {"id": channel_id, "site": site} | ({} if piece is None else {"piece": piece})
    entry = daemon.post("/assignments", channel=table, lead=lead, at=moment_text(at, daemon))
    where = f"{site} of {piece}" if piece else site
    daemon.emit(entry, f"{channel_id}: {where}")


@channel.command()
@click.argument("channel_id", metavar="CHANNEL")
@click.argument("other", metavar="OTHER")
@click.option("--at", metavar="TIME", help="Since when they have been swapped.")
@to_journal
def swap(daemon: DaemonClient, channel_id: str, other: str, at: str | None) -> None:
    """Say that CHANNEL sits where OTHER sat and OTHER where CHANNEL did, now or since a time."""
    entry = daemon.post("/assignments", channel={"id": channel_id, "site": "core"},
                        swap_with=other, at=moment_text(at, daemon))  # fmt: skip
    daemon.emit(entry, f"{channel_id} and {other}: tagged anew")


@channel.command()
@click.argument("channel_id", metavar="CHANNEL")
@click.argument("doubt", type=click.Choice(["right", "wrong"]))
@click.option("--since", metavar="TIME", help="A moment of the doubt; its last one by default.")
@to_journal
def doubt(daemon: DaemonClient, channel_id: str, doubt: str, since: str | None) -> None:
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
def moved(daemon: DaemonClient, channel_id: str) -> None:
    """Say that a probe was moved within its piece, or that swapped ones are put right.

    Its trend starts anew, and what was doubted of it is settled.
    """
    entry = daemon.post("/moves", channel=channel_id)
    daemon.emit(entry, f"{channel_id}: moved; its trend starts anew")
