"""Tables as files: CSV, JSON Lines, XLSX. Written whole or not at all.

Sources: RFC 4180 (CSV); OWASP, CSV injection (a text that begins with ``=``, ``+``, ``-``,
``@``, tab or return is shown with an apostrophe before it, so that no spreadsheet runs it).
"""

from __future__ import annotations

import csv
import json
import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, TextIO

from pitlogger.errors import PitloggerError
from pitlogger.reports.tables import SCHEMA, FlatTable, Row, Value

_DANGEROUS = ("=", "+", "-", "@", "\t", "\r")
XLSX_ROWS = 1_048_575  # a worksheet's, less its heads


def guarded(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula and no terminal for an order."""
    text = "".join(char if char.isprintable() or char in "\n\t\r" else "\ufffd" for char in text)
    return f"'{text}" if text.startswith(_DANGEROUS) else text


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """Yield a path to write to, which becomes ``path`` at the end; after a fault nothing is left.

    Raises:
        PitloggerError: It cannot be written: no folder, no right, no room.
    """
    fresh = path.with_name(f".{path.name}.part")
    try:
        yield fresh
        os.replace(fresh, path)
    except OSError as fault:
        raise PitloggerError(
            f"{path} cannot be written ({fault.strerror or fault}); nothing was left behind"
        ) from None
    finally:
        fresh.unlink(missing_ok=True)


def write_csv(table: FlatTable, out: TextIO) -> None:
    """Write one table; texts are guarded, numbers and times are as they are."""
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(table.heads)
    writer.writerows([_csv_cell(value) for value in row] for row in table.rows)


def _csv_cell(value: Value) -> str | int | float:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return guarded(value) if isinstance(value, str) else value


def write_jsonl(tables: Iterable[FlatTable], out: TextIO) -> None:
    """Write tables one after the other, a row a line; the first line has schema and columns."""
    held = list(tables)
    columns = {table.name: {c.name: c.type for c in table.columns} for table in held}
    out.write(json.dumps({"schema": SCHEMA, "tables": columns}) + "\n")
    for table in held:
        for row in table.rows:
            document = {"table": table.name, **dict(zip(table.heads, row, strict=True))}
            out.write(json.dumps(document, ensure_ascii=False) + "\n")


def write_xlsx(tables: Iterable[FlatTable], path: Path) -> None:
    """Write tables as worksheets, with moments as real times (UTC); needs the extra ``sheets``.

    A table longer than a worksheet goes on in another one.

    Raises:
        PitloggerError: The extra is not installed.
        OSError: It cannot be written.
    """
    try:
        from xlsxwriter.exceptions import FileCreateError
    except ImportError:
        raise PitloggerError(
            "XLSX needs the package XlsxWriter, which is not installed: uv tool install"
            " 'pitlogger[sheets]'"
        ) from None
    with TemporaryDirectory(dir=path.parent, prefix=".sheets-") as rows_waiting:
        try:
            _write_book(tables, path, rows_waiting)
        except FileCreateError as fault:
            raise OSError(str(fault)) from None


def _write_book(tables: Iterable[FlatTable], path: Path, rows_waiting: str) -> None:
    import xlsxwriter

    options = {
        "constant_memory": True, "tmpdir": rows_waiting,
        "strings_to_formulas": False, "strings_to_urls": False,
    }  # fmt: skip
    with xlsxwriter.Workbook(str(path), options) as book:
        bold = book.add_format({"bold": True})
        moment = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
        for table in tables:
            rows = iter(table.rows)
            for number in range(1, 1000):
                part = islice(rows, XLSX_ROWS)
                first = next(part, None)
                if first is None and number > 1:
                    break
                name = table.name if number == 1 else f"{table.name} {number}"
                worksheet = book.add_worksheet(name)
                worksheet.write_row(0, 0, table.heads, bold)
                worksheet.freeze_panes(1, 0)
                worksheet.set_column(0, len(table.columns) - 1, 16)
                _fill(worksheet, table, first, part, moment)


def _fill(
    worksheet: Any, table: FlatTable, first: Row | None, rest: Iterable[Row], moment: Any
) -> None:
    if first is None:
        return
    types = [column.type for column in table.columns]
    for line, row in enumerate(_after(first, rest), start=1):
        for place, (value, type_) in enumerate(zip(row, types, strict=True)):
            if value is None:
                continue
            if type_ == "time":
                worksheet.write_datetime(line, place, _naive(str(value)), moment)
            elif isinstance(value, str):
                worksheet.write_string(line, place, value)
            elif isinstance(value, bool):
                worksheet.write_boolean(line, place, value)
            else:
                worksheet.write_number(line, place, value)


def _after(first: Row, rest: Iterable[Row]) -> Iterator[Row]:
    yield first
    yield from rest


def _naive(text: str) -> datetime:
    """Return a UTC moment without its zone: a worksheet knows none."""
    return datetime.fromisoformat(text).replace(tzinfo=None)
