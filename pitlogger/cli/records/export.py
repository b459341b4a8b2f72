"""``pitlogger export``: hand a cook over, as a capture or as tables."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TextIO

import click

from pitlogger.cli.client import Client, socket_option
from pitlogger.cli.files import FILE
from pitlogger.cli.installation.configuration import config_option, configuration
from pitlogger.errors import UsageError


@click.command()
@click.option("--senml", "form", flag_value="senml", default=True,
              help="SenML, one pack a line: replays to the same journal and alerts.")  # fmt: skip
@click.option("--csv", "form", flag_value="csv", help="One table as CSV.")
@click.option("--jsonl", "form", flag_value="jsonl", help="All tables as JSON Lines.")
@click.option("--xlsx", "form", flag_value="xlsx", help="All tables as worksheets.")
@click.option("--table", "wanted", multiple=True,
              help="readings, weighings, stages, alerts or journal; may be repeated.")  # fmt: skip
@click.option("--cook", help="Which cook; the running or the last one by default.")
@click.option("--out", type=FILE, help="File; standard output by default.")
@config_option
@socket_option
def export(
    form: str, wanted: tuple[str, ...], cook: str | None, out: Path | None,
    config_file: Path | None, socket: Path | None,
) -> None:  # fmt: skip
    """Write a cook as a capture, or as tables for spreadsheets and notebooks.

    A capture comes from the daemon, or with --config from the record's file, as tables do; the
    file is read also while the daemon writes it.
    """
    if form == "senml":
        if wanted:
            raise UsageError("--table goes with --csv, --jsonl or --xlsx")
        if config_file is None:
            _capture(cook, out, socket)
        else:
            _capture_of_file(cook, out, configuration(config_file).database)
        return
    if form == "xlsx" and out is None:
        raise UsageError("--xlsx is no text: give a file with --out")
    if form == "csv":
        wanted = wanted or ("readings",)
        if len(wanted) > 1:
            raise UsageError("--csv holds one table: give --table once")
    _tables(form, wanted, cook, out, configuration(config_file).database)


def _capture(cook: str | None, out: Path | None, socket: Path | None) -> None:
    text = Client(socket).text("/export", cook=cook)
    if out is None:
        click.echo(text, nl=False)
        return
    from pitlogger.reports.table_files import whole

    with whole(out) as fresh:
        fresh.write_text(text, encoding="utf-8")
    click.echo(f"{out}: {len(text.splitlines())} packs", err=True)


def _capture_of_file(cook: str | None, out: Path | None, database: Path) -> None:
    from pitlogger.reports.capture_export import capture_lines
    from pitlogger.reports.cook_record import named_cook
    from pitlogger.reports.table_files import whole
    from pitlogger.store.queries import Reader

    with Reader.open(database) as reader:
        lines = capture_lines(reader, named_cook(reader, cook).id)
        if out is None:
            sys.stdout.writelines(lines)
            return
        with whole(out) as fresh, fresh.open("w", encoding="utf-8") as text:
            packs = 0
            for line in lines:
                text.write(line)
                packs += 1
    click.echo(f"{out}: {packs} packs", err=True)


def _tables(
    form: str, wanted: tuple[str, ...], cook: str | None, out: Path | None, database: Path
) -> None:
    from pitlogger.reports.table_files import whole, write_csv, write_jsonl, write_xlsx
    from pitlogger.reports.tables import NAMES, tables
    from pitlogger.store.queries import Reader

    with Reader.open(database) as reader:
        found = tables(reader, cook, wanted or NAMES)

        def write(text: TextIO) -> None:
            if form == "csv":
                write_csv(found[0], text)
            else:
                write_jsonl(found, text)

        if out is None:
            write(sys.stdout)
            return
        with whole(out) as fresh:
            if form == "xlsx":
                write_xlsx(found, fresh)
            else:
                with fresh.open("w", encoding="utf-8", newline="") as text:
                    write(text)
    click.echo(f"{out}: {', '.join(table.name for table in found)}", err=True)
