"""``pitlogger export``: hand a cook over."""

from __future__ import annotations

import os
from pathlib import Path

import click

from pitlogger.cli.client import Client, socket_option


@click.command()
@click.option("--senml", "form", flag_value="senml", default=True, help="SenML, one pack a line.")
@click.option("--cook", help="Which cook; the running or the last one by default.")
@click.option("--out", type=click.Path(path_type=Path), help="File; standard output by default.")
@socket_option
def export(form: str, cook: str | None, out: Path | None, socket: Path | None) -> None:
    """Write a cook as a capture that replays to the same journal and alerts."""
    text = Client(socket).text("/export", cook=cook)
    if out is None:
        click.echo(text, nl=False)
        return
    write_whole(out, text)
    click.echo(f"{out}: {len(text.splitlines())} packs", err=True)


def write_whole(path: Path, text: str) -> None:
    """Write a file whole or not at all.

    Raises:
        click.FileError: It cannot be written; nothing is left behind.
    """
    fresh = path.with_name(path.name + ".part")
    try:
        fresh.write_text(text, encoding="utf-8")
        os.replace(fresh, path)
    except OSError as fault:
        fresh.unlink(missing_ok=True)
        raise click.FileError(str(path), fault.strerror or "cannot be written") from None
