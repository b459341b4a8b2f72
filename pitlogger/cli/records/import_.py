"""`pitlogger import`: paper logs, spreadsheets and captures into the record."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pitlogger.cli.ahead.history import DaemonRecord, record_at
from pitlogger.cli.ahead.options import named_as_options
from pitlogger.cli.client import socket_option
from pitlogger.cli.cooking.mend import reason_option
from pitlogger.cli.files import FILE
from pitlogger.cli.output import by_option, emit, json_option
from pitlogger.cli.questions import answers
from pitlogger.cli.records.import_capture import capture_text, import_capture, is_capture
from pitlogger.cli.records.sheets import (
    header,
    preview_text,
    read_file,
    say_columns,
    say_sheet,
    withdraw_import,
)

UNITS = ("lb", "kg", "oz", "g")


@click.command("import")
@click.argument("file", type=FILE)
@click.option("--dry-run", is_flag=True, help="Read and show, put nothing on record.")
@click.option("--skip-bad", is_flag=True, help="Leave out rows that cannot be read.")
@click.option("--yes", is_flag=True, help="Import a spreadsheet as it was understood.")
@click.option("--unit", type=click.Choice(UNITS), help="Of masses that name none.")
@click.option("--cut", help="Of rows that name none, such as brisket-packer.")
@click.option("--sheet", expose_value=False, callback=say_sheet, metavar="TITLE",
              help="Which sheet of a workbook; asked where several hold rows.")  # fmt: skip
@click.option(
    "--column",
    multiple=True,
    expose_value=False,
    callback=say_columns,
    metavar="TITLE=MEANING",
    help="What a column means that is not understood, such as Final=carved.",
)
@click.option("--take-back", is_flag=True, help="Take the whole import of FILE back (--reason).")
@reason_option
@by_option
@click.option("--cook", "cook_file", type=FILE,
              help="Cook file (TOML) of a capture that starts no cook itself.")  # fmt: skip
@socket_option
@json_option
def import_command(
    file: Path, dry_run: bool, skip_bad: bool, yes: bool, unit: str | None, cut: str | None,
    take_back: bool, reason: str, by: str, cook_file: Path | None, socket: Path | None,
    as_json: bool,
) -> None:  # fmt: skip
    """Read FILE into the record: a paper log, a spreadsheet or a capture.

    A paper log (CSV or XLSX) has one row a piece. A spreadsheet of your own is read by what its
    columns mean ("Raw Weight", "Trimmed wt (lb)"), shown, and imported with --yes. What cannot be
    read is named with its cell, all at once, and then nothing is imported unless --skip-bad says
    so. The same file twice is one import, and --take-back takes it back whole.

    A capture (SenML, one pack a line; .senml, .json, .jsonl) goes through the engine as a
    replay does, and its readings, decisions and alerts become a finished cook on record. The
    same capture twice is one cook.
    """
    from pitlogger.errors import DaemonUnreachableError, RefusedError, UsageError
    from pitlogger.planning.fields import known_cut
    from pitlogger.views.own_sheet import batch_of, columns_document, sheets_read

    if cut is not None:
        with named_as_options():
            cut = known_cut(cut)
    if is_capture(file):
        if skip_bad:
            raise UsageError("--skip-bad is for paper logs: a capture is imported whole")
        document = import_capture(file, cook_file, socket, dry_run)
        emit(document, as_json, capture_text(document, dry_run))
        return
    if cook_file is not None:
        raise UsageError("--cook goes with a capture (SenML); a paper log names its pieces itself")
    if take_back:
        document, said = withdraw_import(file, socket, reason, by)
        emit(document, as_json, said)
        return
    read, given = read_file(file, socket, unit, cut)
    log, batch = read.log, batch_of(file.read_bytes(), read.table)
    if log.faults and not (skip_bad or dry_run):
        told = "\n".join(fault.message for fault in log.faults)
        refusal = UsageError if read.own is None else RefusedError
        raise refusal(f"{told}\nnothing was imported; mend these lines, or use --skip-bad")
    imported, out, record = 0, 0, None
    if not (log.rows or log.faults):
        raise RefusedError(f"{file}: there is no row in it; nothing was imported")
    if not dry_run:
        if read.own is not None and not yes:
            click.echo(preview_text(read), err=True)
            answers().choose(f"import {len(log.rows)} rows as shown?", ["yes"])
        found = click.get_current_context().find_object(DaemonRecord)
        record = found if socket is None else record_at(socket)
        if record is None:
            raise DaemonUnreachableError(
                "no daemon answers, so nothing was imported; start it, or look with --dry-run"
            )
        kept = {} if read.own is None else {"header": header(read.table), "answers": given}
        imported, out = record.add_cooks(log.rows, batch=batch, **kept)
    document = {
        "file": str(file),
        "rows": len(log.rows),
        "imported": imported,
        "stay_out": out,
        "import": batch,
        "sheet": read.table.sheet,
        "sheets_not_read": list(read.table.others),
        "columns": [] if read.own is None else columns_document(read.own),
        "faults": [{"line": fault.line, "message": fault.message} for fault in log.faults],
        "doubts": _doubts(log.rows, record.mass_unit() if record else "lb-oz"),
        "notes": [*sheets_read(read.table), *log.notes],
    }
    shown = "" if read.own is None else f"{preview_text(read)}\n"
    emit(document, as_json, shown + _text(document, dry_run))
    if not (imported or dry_run):
        click.get_current_context().exit(1)


def _doubts(rows: Any, unit: str) -> list[dict[str, Any]]:
    """Return what is odd about the rows, as it is read in a unit."""
    from pitlogger.views.doubts import as_read
    from pitlogger.yields.document import doubt_document
    from pitlogger.yields.doubts import doubts_of_cook
    from pitlogger.yields.records import from_paper

    cooks: dict[str, list[Any]] = {}
    for piece in from_paper(rows).pieces():
        cooks.setdefault(piece.cook, []).append(piece)
    return [
        {"cook": name, **doubt_document(doubt), "said": as_read(doubt.message, unit)}
        for name, cook in cooks.items()
        for doubt in doubts_of_cook(cook)
    ]


def _text(document: dict[str, Any], dry_run: bool) -> str:
    rows, imported = document["rows"], document["imported"]
    if dry_run:
        lines = [f"{document['file']}: would import {rows} rows"]
    elif rows and not imported:
        lines = [f"{document['file']}: its {rows} rows are on record already; nothing is new"]
    else:
        more = rows - imported
        known = f"; {more} {'was' if more == 1 else 'were'} on record already" if more else ""
        count = f"{imported} row{'' if imported == 1 else 's'}"
        lines = [f"{document['file']}: imported {count}{known}"]
    if document["stay_out"]:
        lines.append(f"{document['stay_out']} of its cooks were withdrawn and stay out; 'pitlogger"
                     " include --cook NAME' brings one back")  # fmt: skip
    lines += [f"not read: {fault['message']}" for fault in document["faults"]]
    lines += [f"? {doubt['cook']}: {doubt['said']}" for doubt in document["doubts"]]
    return "\n".join([*lines, *(f"- {note}" for note in document["notes"])])
