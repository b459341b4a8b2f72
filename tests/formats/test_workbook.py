"""Workbooks as the writers of others make them, and what lies outside what is read."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import xlsxwriter

from pitlogger.errors import UsageError
from pitlogger.formats.own_sheet import read_own
from pitlogger.formats.paper_log import table_of
from pitlogger.formats.workbook import MOST_COLUMNS, rows_of_workbook
from pitlogger.questions import Answers


def workbook(*rows: list[Any]) -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in rows:
        sheet.append(row)
    kept = io.BytesIO()
    book.save(kept)
    return kept.getvalue()


def test_a_cell_further_right_than_is_read_is_named_and_nothing_is_read() -> None:
    far = [""] * MOST_COLUMNS + ["3.1 kg"]
    with pytest.raises(UsageError, match=rf"log.xlsx:2: a cell beyond column {MOST_COLUMNS}"):
        rows_of_workbook(workbook(["Date", "Cut"], far), "log.xlsx")


def test_the_last_column_that_is_read_is_read() -> None:
    last = [""] * (MOST_COLUMNS - 1) + ["3.1 kg"]
    rows = rows_of_workbook(workbook(["Date", "Cut"], last), "log.xlsx")
    assert rows[1][1][-1] == "3.1 kg"


@pytest.mark.parametrize("shown", ["mm/dd/yyyy", "d.m.yyyy", "yyyy-mm-dd", "d mmm yy"])
def test_xlsxwriter_dates_and_numbers_read_whatever_they_are_shown_as(
    tmp_path: Path, shown: str
) -> None:
    file = tmp_path / "log.xlsx"
    with xlsxwriter.Workbook(str(file)) as book:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, ["The pit, 2026"])
        sheet.write_row(1, 0, ["When", "Meat", "Raw weight", "Sliced", "Profit"])
        sheet.write_datetime(2, 0, dt.date(2026, 5, 2), book.add_format({"num_format": shown}))
        sheet.write_string(2, 1, "brisket-packer")
        sheet.write_number(2, 2, 14.2, book.add_format({"num_format": "0.0"}))
        sheet.write_formula(2, 3, "=C3/2", None, 7.1)
        sheet.write_formula(2, 4, "=D3*20-C3*5", None, 71)
    (row,) = (log := read_own(table_of(file), file.name, Answers.of("lb")).log).rows
    assert log.faults == ()
    assert (row.date, row.cut) == ("2026-05-02", "brisket-packer")
    assert [mass.mass_mg for mass in row.masses.values()] == [6_441_012, 3_220_506]
