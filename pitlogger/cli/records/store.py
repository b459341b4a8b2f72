"""``pitlogger store``: look at the record's file, back it up, put a backup back, shrink it."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path
from typing import Any

import click

from pitlogger.cli.files import FILE, FOLDER
from pitlogger.cli.installation.configuration import config_option, configuration
from pitlogger.cli.output import emit, json_option

yes_option = click.option("--yes", is_flag=True, help="Do not ask.")

_MAKE_ONE = "Make one: pitlogger store backup --to FOLDER"
_MEND = (
    "Start the daemon: it moves the damaged file aside, begins a new one from the newest backup"
    " and saves what can be read. Or put a backup in place: pitlogger store restore FILE"
)


@click.group()
def store() -> None:
    """Look at the record's file, back it up, put a backup back, shrink it."""


@store.command()
@config_option
@json_option
def doctor(config_file: Path | None, as_json: bool) -> int:
    """Say what the file holds and whether it is sound. Exit code 1 if it is not."""
    from pitlogger.store.doctor import examine

    config = configuration(config_file)
    facts = examine(config.database, config.backups)
    emit(facts, as_json, "" if as_json else _text(facts))
    return 0 if facts["sound"] else 1


@store.command()
@config_option
@click.option("--to", "folder", type=FOLDER,
              help="Folder, such as that of a stick; the configured one by default.")  # fmt: skip
@click.option("--keep", type=click.IntRange(1), help="How many backups stay in the folder.")
@json_option
def backup(config_file: Path | None, folder: Path | None, keep: int | None, as_json: bool) -> None:
    """Copy the record while the daemon runs, and verify the copy by opening it."""
    from pitlogger.store.backup import back_up, keep_newest
    from pitlogger.store.connection import connect_reader
    from pitlogger.store.queries import Reader

    config = configuration(config_file)
    Reader.open(config.database).close()  # says what is wrong with it
    with closing(connect_reader(config.database)) as connection:
        made = back_up(connection, folder or config.backups)
    with Reader.open(made) as copy:
        facts = copy.facts()
    if keep is not None:
        keep_newest(made.parent, keep)
    document = {"backup": str(made), "cooks": facts["cooks"], "entries": facts["entries"],
                "readings": facts["readings"], "size_bytes": made.stat().st_size}  # fmt: skip
    text = f"{made}: {facts['cooks']} cooks, {facts['entries']} entries, verified"
    emit(document, as_json, text)


@store.command()
@click.argument("file", type=FILE)
@config_option
@yes_option
def restore(file: Path, config_file: Path | None, yes: bool) -> None:
    """Put the backup FILE in the place of the record; the present one is kept beside it."""
    from pitlogger.store.backup import restore as put_back
    from pitlogger.store.backup import verify

    config = configuration(config_file)
    verify(file)
    if not yes:
        click.confirm(f"Put {file} in the place of {config.database}?", abort=True)
    old = put_back(file, config.database)
    click.echo(f"{config.database} is now the backup {file}"
               + (f"; what was there before lies at {old}" if old else ""))  # fmt: skip


@store.command()
@config_option
@yes_option
def compact(config_file: Path | None, yes: bool) -> None:
    """Give room that old cooks used back to the disk; the daemon must not run."""
    from pitlogger.store.backup import refuse_if_in_use
    from pitlogger.store.queries import Reader
    from pitlogger.store.retention import compact as shrink

    config = configuration(config_file)
    Reader.open(config.database).close()
    refuse_if_in_use(config.database)
    if not yes:
        click.confirm(f"Write {config.database} anew without its gaps?", abort=True)
    freed = shrink(config.database)
    click.echo(f"{freed / 1e6:.1f} MB given back; {config.database} now has"
               f" {config.database.stat().st_size / 1e6:.1f} MB")  # fmt: skip


def _text(facts: dict[str, Any]) -> str:
    state = "sound" if facts["sound"] else "DAMAGED"
    size_mb, free_mb = facts["size_bytes"] / 1e6, facts["disk_free_bytes"] / 1e6
    each = f" ({facts['bytes_per_reading']:.2f} bytes each)" if facts["readings"] else ""
    lines = [
        f"{facts['database']}: {state}, {size_mb:.1f} MB",
        *(f"  fault: {fault}" for fault in facts["faults"]),
    ]
    if facts["schema"]:  # else nothing of it could be read
        held = f"{facts['cooks']} cooks, {facts['entries']} entries, {facts['readings']} readings"
        lines.append(f"schema {facts['schema']}: {held}{each}")
        lines.append(f"compacting gives {facts['free_bytes'] / 1e6:.1f} MB")
    lines.append(f"free on the disk: {free_mb:.0f} MB")
    if facts["lost_readings"]:
        lines.append(f"{facts['lost_readings']} readings could not be kept; each gap is on record")
    lines += [f"a damaged file was kept: {path}" for path in facts["damaged_files"]]
    backups = facts["backups"]
    newest = f"{len(backups)} backups, the newest {backups[0]}" if backups else "no backup yet"
    return "\n".join([*lines, f"{newest}. {_MAKE_ONE if facts['sound'] else _MEND}"])


@store.command()
@click.argument("name", required=False)
@click.option("--limit", type=click.IntRange(1), help="At most so many rows.")
@config_option
@json_option
def tables(name: str | None, limit: int | None, config_file: Path | None, as_json: bool) -> None:
    """List tables and views of the record, or print the rows of NAME as CSV (JSON with --json)."""
    import csv
    import io

    from pitlogger.store.outside import listed, rows

    path = configuration(config_file).database
    if name is None:
        found = listed(path)
        lines = [f"{one.kind:5} {one.name}: {', '.join(one.columns)}" for one in found]
        emit([one._asdict() for one in found], as_json, "\n".join(lines))
        return
    held = rows(path, name, limit)
    text = io.StringIO()
    if held:
        writer = csv.DictWriter(text, list(held[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(held)
    emit(held, as_json, text.getvalue().rstrip("\n"))


@store.command()
@click.argument("words", nargs=-1, required=True)
@config_option
@json_option
def search(words: tuple[str, ...], config_file: Path | None, as_json: bool) -> None:
    """Find notes, reasons and corrective actions that hold all of WORDS."""
    from pitlogger.clock import rfc3339
    from pitlogger.store.outside import search as look

    found = look(configuration(config_file).database, " ".join(words))
    lines = [f"{one.id}  {rfc3339(one.utc_ms)}  {one.cook or '-'}  {one.text}" for one in found]
    emit([one._asdict() for one in found], as_json, "\n".join(lines) or "nothing written fits")
