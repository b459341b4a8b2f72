"""`pitlogger import`: paper logs, spreadsheets and captures into the record."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pitlogger.cli.ahead.history import Record, record_at
from pitlogger.cli.client import socket_option
from pitlogger.cli.output import emit, json_option
from pitlogger.cli.records.import_capture import capture_text, import_capture, is_capture


@click.command("import")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--dry-run", is_flag=True, help="Read and show, put nothing on record.")
@click.option("--skip-bad", is_flag=True, help="Leave out rows that cannot be read.")
@click.option("--cook", "cook_file", type=click.Path(path_type=Path, dir_okay=False),
              help="Cook file (TOML) of a capture that starts no cook itself.")  # fmt: skip
@socket_option
@json_option
def import_command(
    file: Path, dry_run: bool, skip_bad: bool, cook_file: Path | None, socket: Path | None,
    as_json: bool,
) -> None:  # fmt: skip
    """Read FILE into the record: a paper log or a capture.

    A paper log (CSV or XLSX) has one row a piece. A row that cannot be read is named with its
    line, and then nothing is imported unless --skip-bad says so. Doubts are asked, not refused.

    A capture (SenML, one pack a line; .senml, .json, .jsonl) goes through the engine as a
    replay does, and its readings, decisions and alerts become a finished cook on record. The
    same capture twice is one cook.
    """
    from pitlogger.errors import DaemonUnreachableError, UsageError

    if is_capture(file):
        if skip_bad:
            raise UsageError("--skip-bad is for paper logs: a capture is imported whole")
        document = import_capture(file, cook_file, socket, dry_run)
        emit(document, as_json, capture_text(document, dry_run))
        return
    if cook_file is not None:
        raise UsageError("--cook goes with a capture (SenML); a paper log names its pieces itself")
    from pitlogger.formats.paper_log import read_paper_log

    log = read_paper_log(file)
    if log.faults and not (skip_bad or dry_run):
        told = "\n".join(fault.message for fault in log.faults)
        raise UsageError(f"{told}\nnothing was imported; mend these lines, or use --skip-bad")
    imported = 0
    if not dry_run:
        found = click.get_current_context().find_object(Record)
        record = found if socket is None else record_at(socket)
        if record is None:
            raise DaemonUnreachableError(
                "no daemon answers, so nothing was imported; start it, or look with --dry-run"
            )
        imported = record.add_cooks(log.rows)
    document = {
        "file": str(file),
        "rows": len(log.rows),
        "imported": imported,
        "faults": [{"line": fault.line, "message": fault.message} for fault in log.faults],
        "doubts": _doubts(log.rows),
        "notes": list(log.notes),
    }
    emit(document, as_json, _text(document, dry_run))


def _doubts(rows: Any) -> list[dict[str, Any]]:
    from pitlogger.yields.document import doubt_document
    from pitlogger.yields.doubts import doubts_of_cook
    from pitlogger.yields.records import from_paper

    cooks: dict[str, list[Any]] = {}
    for piece in from_paper(rows).pieces():
        cooks.setdefault(piece.cook, []).append(piece)
    return [
        {"cook": name, **doubt_document(doubt)}
        for name, cook in cooks.items()
        for doubt in doubts_of_cook(cook)
    ]


def _text(document: dict[str, Any], dry_run: bool) -> str:
    done = "would import" if dry_run else "imported"
    count = document["rows"] if dry_run else document["imported"]
    lines = [f"{document['file']}: {done} {count} rows"]
    lines += [f"not read: {fault['message']}" for fault in document["faults"]]
    lines += [f"? {doubt['cook']}: {doubt['message']}" for doubt in document["doubts"]]
    return "\n".join([*lines, *(f"- {note}" for note in document["notes"])])
