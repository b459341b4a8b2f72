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
    from pitlogger.views.own_sheet import Sheet


def header(file: Path) -> str:
    """Return the digest of the titles of a sheet, empty where it has none of its own."""
    from pitlogger.formats.own_sheet import header_of
    from pitlogger.formats.paper_log import table_of

    try:
        return header_of(table_of(file), file.name)
    except UsageError:
        return ""


def read_file(
    file: Path, socket: Path | None, unit: str | None, cut: str | None
) -> tuple[Sheet, tuple[str, ...]]:
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

    lines = table_of(file)
    given = Answers(answers().given, _as_last_time(file, socket))
    lasting = tuple(one for one in (*given.all, unit, cut) if one)
    read = read_sheet(lines, file.name, given, unit, cut)
    answers().used.update(given.used)
    return read, lasting


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


def _as_last_time(file: Path, socket: Path | None) -> tuple[str, ...]:
    """Return what the node keeps of the last file like it; nothing where none can be reached."""
    if not (digest := header(file)):
        return ()
    try:
        return tuple(Client(socket).get(f"/record/sheets/{digest}")["answers"])
    except PitloggerError:
        return ()


def preview_text(sheet: Sheet) -> str:
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
    from pitlogger.views.own_sheet import batch_of

    if not file.is_file():
        raise UsageError(f"{file}: cannot be read; name the file that was imported")
    if not reason.strip():
        raise UsageError("say why the import is taken back (--reason)")
    client = Client(socket)
    made: dict[str, Any] = client.post(
        "/record/withdraw", batch=batch_of(file.read_bytes()), reason=reason, by=by
    )
    again = "nothing is erased, and importing it again brings it back"
    return made, f"{file}: {made['cooks']} cooks taken back; {again}"
