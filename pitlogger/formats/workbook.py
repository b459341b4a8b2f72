"""Cells of an XLSX workbook as text, within bounds: a small file can unpack to any size."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from importlib import import_module
from itertools import islice
from typing import Any

from pitlogger.errors import UsageError, unknown
from pitlogger.formats.sheet_words import column_meant
from pitlogger.questions import NO_ANSWERS, Answers

Line = tuple[int, Sequence[str]]
SHEET = "sheet "  # before the title of a sheet in an answer
LOOK = 10  # lines in which the titles must stand
MOST_UNPACKED, MOST_ROWS, MOST_COLUMNS = 30_000_000, 20_000, 256


@dataclass(frozen=True, slots=True)
class WorkbookTable:
    """Line numbers and cells of one table of a file.

    ``name`` is of the file, and of the sheet where it has several; ``sheet`` and ``place`` are of
    the sheet, empty and 0 where the file is one table; ``sheets`` are all that hold anything.
    """

    lines: list[Line]
    name: str
    sheet: str = ""
    place: int = 0
    sheets: tuple[str, ...] = ()

    @property
    def others(self) -> tuple[str, ...]:
        """The sheets that hold something too and were not read."""
        return tuple(one for one in self.sheets if one != self.sheet)


def rows_of_workbook(data: bytes, name: str, answers: Answers = NO_ANSWERS) -> WorkbookTable:
    """Return the rows of a sheet, as text: of the one that was named, else of the only one whose
    titles are understood.

    Raises:
        UsageError: It is no workbook, holds more than a person's sheet does, or has no such sheet.
        QuestionError: Several sheets could be meant.
    """
    try:
        openpyxl = import_module("openpyxl")
    except ImportError:
        raise UsageError(
            f"{name}: reading XLSX needs an extra: pip install 'pitlogger[sheets]', "
            "or save the sheet as CSV UTF-8"
        ) from None
    _check_unpacked(data, name)
    try:
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
    except Exception as fault:  # a damaged file shows as whatever the parser met
        raise UsageError(f"{name}: not an XLSX file ({fault})") from None
    heads = {sheet.title: _rows(sheet, LOOK + 1) for sheet in book.worksheets}
    held = {title: rows for title, rows in heads.items() if any(map(any, rows))}
    title = _which_sheet(name, held, answers) if len(held) > 1 else next(iter(held or heads))
    sheet = book[title]
    whole = f"{name}, {SHEET}{title}" if len(held) > 1 else name
    rows = _rows(sheet, MOST_ROWS + 1)
    book.close()
    check_columns(whole, ((line, row) for line, row in enumerate(rows, 1)))
    if len(rows) > MOST_ROWS:
        raise UsageError(f"{whole}: more than {MOST_ROWS} rows: cut it into several files")
    lines: list[Line] = [(line, _texts(row)) for line, row in enumerate(rows, 1)]
    return WorkbookTable(lines, whole, title, list(heads).index(title), tuple(held))


def _rows(sheet: Any, most: int) -> list[Sequence[Any]]:
    sheet.reset_dimensions()  # what a file says of its own size may be anything
    return list(islice(sheet.iter_rows(values_only=True, max_col=MOST_COLUMNS + 1), most))


def _which_sheet(
    name: str, held: Mapping[str, Sequence[Sequence[Any]]], answers: Answers
) -> str:  # fmt: skip
    """Return the title of the sheet that was named, or of the only one that is understood."""
    titles = {said_sheet(title): title for title in held}
    if wanted := [one for one in answers.all if one.casefold().startswith(SHEET)]:
        known = {said.casefold(): said for said in titles}
        found = next((known[one.casefold()] for one in wanted if one.casefold() in known), None)
        if found is None:
            raise UsageError(unknown("sheet", wanted[0][len(SHEET) :], held))
        answers.used.update(wanted)
        return titles[found]
    understood = [said for said, title in titles.items() if _has_titles(held[title])]
    if len(understood) == 1:
        return titles[understood[0]]
    question = f"{name} has rows on several sheets: which one is to be read?"
    return titles[answers.choose(question, understood or titles)]


def said_sheet(title: str) -> str:
    """Return how a sheet is named in an answer."""
    return f"{SHEET}{' '.join(title.replace(';', ' ').split())}"


def _has_titles(rows: Sequence[Sequence[Any]]) -> bool:
    """Return whether there is a row of titles that are understood, and anything below it."""
    known = [sum(column_meant(_cell_text(cell)) is not None for cell in row) for row in rows]
    first = next((at for at, count in enumerate(known) if count > 1), None)
    return first is not None and any(map(any, rows[first + 1 :]))


def check_columns(name: str, rows: Iterable[tuple[int, Sequence[Any]]]) -> None:
    """Refuse a table that holds anything further to the right than is read.

    Raises:
        UsageError: It does; with the first such row.
    """
    for line, row in rows:
        if any(cell not in (None, "") for cell in row[MOST_COLUMNS:]):
            raise UsageError(
                f"{name}:{line}: a cell beyond column {MOST_COLUMNS}: nothing was read; cut the"
                " sheet to the columns that are about a cook"
            )


def _check_unpacked(data: bytes, name: str) -> None:
    """Refuse a file that holds more than its size lets expect."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            size = sum(part.file_size for part in packed.infolist())
    except zipfile.BadZipFile as fault:
        raise UsageError(f"{name}: not an XLSX file ({fault})") from None
    if size > MOST_UNPACKED:
        raise UsageError(
            f"{name}: {size / 1e6:.0f} MB unpacked; expected at most {MOST_UNPACKED / 1e6:.0f} MB: "
            "save the sheet as CSV UTF-8"
        )


def _texts(row: Sequence[Any]) -> list[str]:
    """Return the cells of a row as text, up to the last that holds anything."""
    cells = [_cell_text(cell) for cell in row]
    while cells and not cells[-1]:
        cells.pop()
    return cells


def _cell_text(cell: Any) -> str:
    if cell is None:
        return ""
    if isinstance(cell, date):
        return cell.isoformat()[:10]
    return f"{cell:.10g}" if isinstance(cell, float) else str(cell)
