"""``pitlogger label``: tags of pieces and trays, to be scanned instead of typed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pitlogger.cli.client import Client
from pitlogger.cli.daemon import DaemonClient, to_daemon
from pitlogger.cli.files import FILE
from pitlogger.errors import RefusedError, UsageError, unknown

if TYPE_CHECKING:
    from pitlogger.reports.tags import PrintedTag


@click.command()
@click.argument("pieces", nargs=-1)
@click.option("--tray", "trays", multiple=True, help="A container on the list; 'all' for each.")
@click.option("--cook-file", type=FILE,
              help="Tags of a cook to come: they stand for whichever cook runs.")  # fmt: skip
@click.option("--out", type=FILE, help="File: .html, or .bin for a label printer (ESC/POS).")
@click.option("--printer", metavar="HOST[:PORT]|DEVICE",
              help="Print at once: 192.168.1.40:9100 or /dev/usb/lp0.")  # fmt: skip
@to_daemon
def label(
    daemon: DaemonClient, pieces: tuple[str, ...], trays: tuple[str, ...], cook_file: Path | None,
    out: Path | None, printer: str | None,
) -> None:  # fmt: skip
    """Print tags of PIECES, of all that are followed by default, with a QR code and Code 128.

    A tag scanned before or after a weighing, a stage or a probe names its piece. Labels of
    packed food: pitlogger report label.
    """
    from pitlogger.cli.records.report import send_to_printer, write
    from pitlogger.reports.table_files import whole
    from pitlogger.reports.tags import tags_bytes, tags_sheet

    tags = _of_file(cook_file, pieces) if cook_file else _of_daemon(daemon, pieces, trays)
    if cook_file and trays:
        raise UsageError("--tray names containers of the daemon: leave --cook-file out")
    if daemon.as_json:
        document = [{"text": tag.text, "title": tag.title, "about": tag.about} for tag in tags]
        daemon.emit({"tags": document}, "")
    elif printer is not None:
        send_to_printer(printer, tags_bytes(tags))
    elif out is not None and out.suffix == ".bin":
        with whole(out) as fresh:
            fresh.write_bytes(tags_bytes(tags))
    else:
        write(tags_sheet(tags), out)


def _of_daemon(client: Client, pieces: tuple[str, ...], trays: tuple[str, ...]) -> list[PrintedTag]:
    known = client.get("/tags")
    of_pieces = _named("piece", known, pieces)
    of_trays = _named("tray", known, () if "all" in trays else trays)
    found = (of_pieces if pieces or not trays else []) + (of_trays if trays else [])
    if not found:
        raise RefusedError("no cook is running and no container is named: there is nothing to tag")
    return found


def _named(kind: str, known: list[dict[str, Any]], names: tuple[str, ...]) -> list[PrintedTag]:
    from pitlogger.reports.tags import PrintedTag

    found = {
        one["title"]: PrintedTag(one["text"], one["title"], one["about"])
        for one in known
        if one["kind"] == kind
    }
    for name in names:
        if name not in found:
            raise UsageError(unknown("container" if kind == "tray" else kind, name, found))
    return [found[name] for name in names or found]


def _of_file(cook_file: Path, pieces: tuple[str, ...]) -> list[PrintedTag]:
    from pitlogger.formats.cook_file import load_cook
    from pitlogger.formats.tags import PieceTag

    cook = load_cook(cook_file)
    known = [
        {"kind": "piece", "title": one.id, "text": PieceTag(one.id).text, "about": cook.name}
        for one in cook.pieces
    ]
    return _named("piece", known, pieces)
