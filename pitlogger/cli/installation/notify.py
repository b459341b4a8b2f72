"""``pitlogger notify``: try the ways of being notified, and list what waits."""

from __future__ import annotations

from pathlib import Path

import click

from pitlogger.cli.installation.configuration import config_option, configuration
from pitlogger.cli.output import emit, json_option


@click.group()
def notify() -> None:
    """Try the ways of being told, and see what waits to be told."""


@notify.command("test")
@config_option
@click.option("--way", "ways", multiple=True, metavar="ID", help="Only this one; may be repeated.")
@json_option
@click.pass_context
def test_command(
    ctx: click.Context, config_file: Path | None, ways: tuple[str, ...], as_json: bool
) -> None:
    """Send a test message by each way and say what is known of its arrival.

    Exit code 1 if one did not arrive. The daemon need not run; secrets must be readable.
    """
    import asyncio

    from pitlogger.clock import SystemClock
    from pitlogger.notify.trial import try_ways

    config = configuration(config_file)
    trials = asyncio.run(try_ways(config, ways, SystemClock().utc_ms()))
    document = {
        "ways": [
            {"way": each.way, "kind": each.kind, "arrived": each.arrived, "said": each.said}
            for each in trials
        ]
    }
    lines = [f"{each.way}: {'' if each.arrived else 'FAILED: '}{each.said}" for each in trials]
    emit(document, as_json, "\n".join([*lines, "Look whether it reached you: only you can see."]))
    if not all(each.arrived for each in trials):
        ctx.exit(1)


@notify.command("list")
@config_option
@click.option("--all", "every", is_flag=True, help="Also what was sent or given up, 90 days back.")
@json_option
def list_command(config_file: Path | None, every: bool, as_json: bool) -> None:
    """List the messages that wait to be sent, with their tries and what went wrong."""
    from pitlogger.notify.deliveries import handed_in, waiting
    from pitlogger.store.queries import Reader

    with Reader.open(configuration(config_file).database) as reader:
        rows = handed_in(reader, 0) if every else waiting(reader)
    lines = [
        f"{row.way}: {row.title}, since {row.since}, {row.tries} tries"
        + (f", {row.state}" if every else "")
        + (f"\n  {row.error}" if row.error else "")
        for row in rows
    ]
    key = "messages" if every else "waiting"
    emit(
        {key: [row.document() for row in rows]},
        as_json,
        "\n".join(lines) or ("no message yet" if every else "nothing waits"),
    )
