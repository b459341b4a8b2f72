"""A spreadsheet of one's own on the command line: read, shown, taken back."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pitlogger.cli.client import Client
from pitlogger.cli.output import table
from pitlogger.cli.questions import answer, answers
from pitlogger.errors import PitloggerError, UsageError

if TYPE_CHECKING:
    from pitlogger.formats.workbook import WorkbookTable
    from pitlogger.views.own_sheet import SheetToImport


def header(sheet: WorkbookTable) -> str:
    """Return the digest of the titles of a sheet, empty where it has none of its own."""
    from pitlogger.formats.own_sheet import header_of

    try:
        return header_of(sheet.lines, sheet.name)
    except UsageError:
        return ""


def read_file(
    file: Path, socket: Path | None, unit: str | None, cut: str | None
) -> tuple[SheetToImport, tuple[str, ...]]:
    """Return a sheet as read, and all answers that hold for the next one like it.

    What was answered about the last file with the same columns is answered so again; the preview
    shows what that makes of this one.

    Raises:
        UsageError: It cannot be read at all.
        QuestionError: Something in it can mean two things.
    """
    from pitlogger.formats.paper_log import table_of
    from pitlogger.questions import Answers
    from pitlogger.views.own_sheet import read_sheet

    sheet = table_of(file, answers())
    given = Answers(answers().given, _as_last_time(sheet, socket))
    given.used.update(answers().used)
    lasting = tuple(one for one in (*given.all, unit, cut) if one)
    read = read_sheet(sheet, given, unit, cut)
    answers().used.update(given.used)
    return read, lasting


def say_sheet(ctx: click.Context, param: click.Parameter, value: str | None) -> None:
    """Take which sheet of a workbook is meant as answered already."""
    from pitlogger.formats.workbook import said_sheet

    if value is not None:
        answer(ctx, (said_sheet(value),))


def say_columns(ctx: click.Context, param: click.Parameter, value: tuple[str, ...]) -> None:
    """Take what columns mean as answers that were given already."""
    answer(ctx, tuple(map(_said, value)))


def _said(column: str) -> str:
    """Return ``TITLE=MEANING`` as an answer."""
    from pitlogger.formats.sheet_words import SAID, plain_title

    title, equals, meaning = column.rpartition("=")
    if not (title.strip() and equals and meaning.strip()):
        raise UsageError(f"--column '{column}': write TITLE=MEANING, such as Final=carved")
    return f"{plain_title(title)}{SAID}{meaning.strip()}"


def _as_last_time(sheet: WorkbookTable, socket: Path | None) -> tuple[str, ...]:
    """Return what the node keeps of the last file like it; nothing where none can be reached."""
    if not (digest := header(sheet)):
        return ()
    try:
        return tuple(Client(socket).get(f"/record/sheets/{digest}")["answers"])
    except PitloggerError:
        return ()


def preview_text(sheet: SheetToImport) -> str:
    """Return how a sheet was understood, as text."""
    from pitlogger.views.own_sheet import preview

    shown = preview(sheet)
    lines = [table([list(row) for row in shown.columns], ["column", "is read as", "in"])]
    lines += shown.notes
    if shown.rows:
        lines += ["", table([list(row) for row in shown.rows], list(shown.heads))]
    return "\n".join([*lines, "", shown.learned])


def withdraw_import(
    file: Path, socket: Path | None, reason: str, by: str
) -> tuple[dict[str, Any], str]:
    """Take the cooks that came with a file out of lists and learning."""
    from pitlogger.formats.paper_log import table_of
    from pitlogger.views.own_sheet import batch_of

    if not file.is_file():
        raise UsageError(f"{file}: cannot be read; name the file that was imported")
    if not reason.strip():
        raise UsageError("say why the import is taken back (--reason)")
    sheet = table_of(file, answers())
    batch = batch_of(file.read_bytes(), sheet)
    made: dict[str, Any] = Client(socket).post(
        "/record/withdraw", batch=batch, reason=reason, by=by
    )
    again = "nothing is erased, and importing it again brings it back"
    name = file if not sheet.others else sheet.name
    return made, f"{name}: {made['cooks']} cooks taken back; {again}"
