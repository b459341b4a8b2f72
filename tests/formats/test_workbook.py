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
from pitlogger.formats.paper_log import table_in, table_of
from pitlogger.formats.workbook import MOST_COLUMNS, rows_of_workbook
from pitlogger.questions import Answers, QuestionError
from pitlogger.views.own_sheet import batch_of, sheets_read


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
    rows = rows_of_workbook(workbook(["Date", "Cut"], last), "log.xlsx").lines
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
    (row,) = (log := read_own(table_of(file).lines, file.name, Answers.of("lb")).log).rows
    assert log.faults == ()
    assert (row.date, row.cut) == ("2026-05-02", "brisket-packer")
    assert [mass.mass_mg for mass in row.masses.values()] == [6_441_012, 3_220_506]


LOG: list[list[Any]] = [
    ["Date", "Cut", "Raw (kg)", "Sliced (kg)"],
    ["2026-05-02", "pork-butt", 4.1, 2.2],
]
NOTES: list[list[Any]] = [["What went wrong"], ["Wind from the north"], ["Fuel ran out"]]


def several(**sheets: list[list[Any]]) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    kept = io.BytesIO()
    book.save(kept)
    return kept.getvalue()


def test_the_only_sheet_that_is_understood_is_read_and_the_others_are_named() -> None:
    table = rows_of_workbook(several(Notes=NOTES, Cooks=LOG, Empty=[]), "log.xlsx")
    assert (table.sheet, table.place, table.others) == ("Cooks", 1, ("Notes",))
    assert table.lines[1][1][1] == "pork-butt"
    assert table.name == "log.xlsx, sheet Cooks"
    assert sheets_read(table) == ("sheet Cooks was read; not read: sheet Notes",)


def test_where_several_hold_rows_it_is_asked_which() -> None:
    data = several(**{"2025": LOG, "lb; old": LOG, "Notes": NOTES})
    with pytest.raises(QuestionError) as asked:
        rows_of_workbook(data, "log.xlsx")
    assert asked.value.asked.options == ("sheet 2025", "sheet lb old")
    assert asked.value.asked.confirm == "sheet 2025"
    answers = Answers.of("Sheet LB old", "lb")
    assert rows_of_workbook(data, "log.xlsx", answers).sheet == "lb; old"
    assert answers.unused() == ("lb",)
    assert rows_of_workbook(data, "log.xlsx", Answers.of("sheet notes")).sheet == "Notes"
    with pytest.raises(UsageError, match=r"unknown sheet '2052' \(did you mean '2025'\?\)"):
        rows_of_workbook(data, "log.xlsx", Answers.of("sheet 2052"))


def test_a_workbook_of_one_sheet_is_named_as_its_file() -> None:
    table = rows_of_workbook(several(Cooks=LOG, Empty=[]), "log.xlsx")
    assert (table.name, table.others, sheets_read(table)) == ("log.xlsx", (), ())
    only = rows_of_workbook(several(Empty=[], Cooks=LOG), "log.xlsx")
    assert only.sheet == "Cooks"
    assert rows_of_workbook(several(Empty=[]), "log.xlsx").lines == []


def test_each_sheet_of_a_file_is_an_import_of_its_own() -> None:
    data = several(**{"2025": LOG, "2026": LOG})
    batches = {
        batch_of(data, rows_of_workbook(data, "log.xlsx", Answers.of(f"sheet {year}")))
        for year in ("2025", "2026")
    }
    assert len(batches) == 2


def test_a_file_of_one_table_has_no_sheets() -> None:
    with pytest.raises(UsageError, match="one table, without sheets; given 'sheet 2025'"):
        table_in(b"date,cut\n", "log.csv", Answers.of("sheet 2025"))
