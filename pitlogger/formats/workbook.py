"""Cells of an XLSX workbook as text, within bounds: a small file can unpack to any size."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable, Sequence
from datetime import date
from importlib import import_module
from itertools import islice
from typing import Any

from pitlogger.errors import UsageError

MOST_UNPACKED, MOST_ROWS, MOST_COLUMNS = 30_000_000, 20_000, 256


def rows_of_workbook(data: bytes, name: str) -> list[tuple[int, Sequence[str]]]:
    """Return the rows of the first sheet, as text, each with its number.

    Raises:
        UsageError: It is no workbook, or holds more than a person's sheet does.
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
    sheet = book.worksheets[0]
    sheet.reset_dimensions()  # what a file says of its own size may be anything
    read = sheet.iter_rows(values_only=True, max_col=MOST_COLUMNS + 1)
    rows = list(islice(read, MOST_ROWS + 1))
    book.close()
    check_columns(name, ((line, row) for line, row in enumerate(rows, 1)))
    if len(rows) > MOST_ROWS:
        raise UsageError(f"{name}: more than {MOST_ROWS} rows: cut it into several files")
    return [(line, _texts(row)) for line, row in enumerate(rows, 1)]


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
