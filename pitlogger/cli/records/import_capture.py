"""A capture into the record, for ``pitlogger import``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from pitlogger.cli.client import Client
from pitlogger.clock import rfc3339

if TYPE_CHECKING:
    from pitlogger.node.past_capture import Imported

READINGS_A_PART = 20_000
SUFFIXES = (".senml", ".json", ".jsonl", ".ndjson")


def is_capture(file: Path) -> bool:
    """Return whether a file is a capture, by its name."""
    return file.suffix.casefold() in SUFFIXES


def import_capture(
    file: Path, cook_file: Path | None, socket: Path | None, dry_run: bool
) -> dict[str, Any]:
    """Put a capture on record; return what it held, as plain values.

    Raises:
        DaemonUnreachableError: No daemon answers, and it is no dry run.
    """
    from pitlogger.node.past_capture import imported
    from pitlogger.yields.books import from_book
    from pitlogger.yields.document import doubt_document
    from pitlogger.yields.ledger import accounts

    made = imported(file, cook_file)
    if not dry_run:
        _send(made, Client(socket))
    doubts = [
        {"cook": book.cook.name, **doubt_document(doubt)}
        for book in made.books.values()
        if book.cook is not None
        for account in accounts(from_book(book))
        for doubt in account.doubts
    ]
    return {
        "file": str(file),
        "rows": sum(len(book.pieces) for book in made.books.values()),
        "imported": 0 if dry_run else len(made.books),
        "cooks": [
            {"cook": cook, "name": book.cook.name, "pieces": list(book.pieces)}
            for cook, book in made.books.items()
            if book.cook is not None
        ],
        "readings": made.readings,
        "entries": len(made.entries),
        "from": rfc3339(made.start_ms),
        "to": rfc3339(made.end_ms),
        "faults": [],
        "doubts": doubts,
        "notes": [],
    }


def _send(made: Imported, client: Client) -> None:
    """Send the readings in parts, and last of all the entries: only then is a cook listed."""
    from pitlogger.formats.journal_json import dump_body

    about = {
        "run": made.run, "start_ms": made.start_ms, "end_ms": made.end_ms, "origin": made.origin,
    }  # fmt: skip
    for channel, column in made.columns.items():
        named = {"channel": channel, "quantity": made.quantities[channel].value}
        for start in range(0, len(column), READINGS_A_PART):
            part = column.part(start, start + READINGS_A_PART)
            client.post("/record/captures", **about, readings=[{**named, **part}])
    entries = [
        {"seq": entry.seq, "t_ms": entry.t_ms, "by": entry.by,
         "cook": next(iter(cooks), None), "also": list(cooks[1:]), "body": dump_body(entry.body)}
        for entry, cooks in made.entries
    ]  # fmt: skip
    client.post("/record/captures", **about, entries=entries)


def capture_text(document: dict[str, Any], dry_run: bool) -> str:
    """Return what became of a capture, for people."""
    done = "would import" if dry_run else "imported"
    what = f"{document['readings']} readings and {document['entries']} journal entries"
    lines = [f"{document['file']}: {done} {what}, {document['from']} to {document['to']}"]
    lines += [f"{cook['cook']}: {', '.join(cook['pieces'])}" for cook in document["cooks"]]
    lines += [f"? {doubt['cook']}: {doubt['message']}" for doubt in document["doubts"]]
    return "\n".join(lines)
