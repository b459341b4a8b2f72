"""``pitlogger channel``: where a channel sits now."""

from __future__ import annotations

from pathlib import Path

import click

from pitlogger.cli.client import Client, socket_option
from pitlogger.cli.output import by_option, emit, json_option
from pitlogger.model.readings import Site


@click.group()
def channel() -> None:
    """Say where a channel sits now; the old assignment stays on record."""


@channel.command()
@click.argument("channel_id", metavar="CHANNEL")
@click.argument("site", type=click.Choice([site.value for site in Site]))
@click.option("--piece", help="The piece it is in.")
@click.option("--lead", is_flag=True, help="This core decides wrap and pull from now on.")
@by_option
@socket_option
@json_option
def assign(channel_id: str, site: str, piece: str | None, lead: bool, by: str,
           socket: Path | None, as_json: bool) -> None:  # fmt: skip
    """Say that CHANNEL sits at SITE from now on, as after moving a probe."""
    table = {"id": channel_id, "site": site} | ({} if piece is None else {"piece": piece})
    entry = Client(socket).post("/assignments", channel=table, lead=lead, by=by)
    where = f"{site} of {piece}" if piece else site
    emit(entry, as_json, f"{channel_id}: {where}")


@channel.command()
@click.argument("channel_id", metavar="CHANNEL")
@by_option
@socket_option
@json_option
def moved(channel_id: str, by: str, socket: Path | None, as_json: bool) -> None:
    """Say that a probe was moved within its piece, or that swapped ones are put right.

    Its trend starts anew, and what was doubted of it is settled.
    """
    entry = Client(socket).post("/moves", channel=channel_id, by=by)
    emit(entry, as_json, f"{channel_id}: moved; its trend starts anew")
