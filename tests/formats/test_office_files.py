"""Files as a spreadsheet program itself writes them, in several locales.

The check outside: LibreOffice Calc, headless, makes CSV and XLSX of one workbook with real dates
and numbers; each file must read as the same rows.
"""

from __future__ import annotations

import datetime as dt
import shutil
import subprocess
from pathlib import Path

import openpyxl
import pytest

from pitlogger.formats.own_sheet import read_own
from pitlogger.formats.paper_log import table_of
from pitlogger.questions import Answers

OFFICE = shutil.which("soffice")
# Field separator, quote, character set, first line, columns, language, quote all, as shown
# (LibreOffice Help, "Filter Options for CSV"). Languages by their Windows numbers.
LOCALES = {
    "en-US": "44,34,76,1,,1033,false,true,false",
    "en-GB": "44,34,76,1,,2057,false,true,false",
    "de-DE": "59,34,76,1,,1031,false,true,false",
    "fr-FR": "59,34,76,1,,1036,false,true,false",
    "sv-SE": "9,34,76,1,,1053,false,true,false",
}
ROWS = [
    (dt.date(2026, 5, 23), "brisket-packer", 6.45, 3.12),
    (dt.date(2026, 6, 7), "pork-butt", 3.815, 2.0),
]
WANTED = [
    (day.isoformat(), cut, round(raw * 1e6), round(sliced * 1e6)) for day, cut, raw, sliced in ROWS
]


@pytest.fixture(scope="module")
def workbook(tmp_path_factory: pytest.TempPathFactory) -> Path:
    if OFFICE is None:
        pytest.skip("LibreOffice Calc is not installed")
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Pit log"])
    sheet.append(["Date", "Cut", "Raw weight (kg)", "Sliced (kg)"])
    for row in ROWS:
        sheet.append(row)
        sheet.cell(sheet.max_row, 1).number_format = "DD/MM/YYYY"
        for column in (3, 4):
            sheet.cell(sheet.max_row, column).number_format = "0.000"
    file = tmp_path_factory.mktemp("office") / "log.xlsx"
    book.save(file)
    return file


def converted(workbook: Path, form: str, into: Path) -> Path:
    assert OFFICE is not None
    profile = f"-env:UserInstallation=file://{workbook.parent}/profile"
    command = [OFFICE, profile, "--headless", "--convert-to", form, "--outdir", str(into)]
    subprocess.run([*command, str(workbook)], check=True, capture_output=True, timeout=120)
    return into / f"log.{form.partition(':')[0]}"


def rows_of(file: Path) -> list[tuple[str, str, int, int]]:
    log = read_own(table_of(file).lines, file.name, Answers.of("day first")).log
    assert log.faults == ()
    return [
        (row.date, row.cut, row.masses["purchased"].mass_mg, row.masses["carved"].mass_mg)
        for row in log.rows
    ]


@pytest.mark.nightly
@pytest.mark.parametrize("locale", LOCALES)
def test_a_csv_of_a_locale_reads_as_the_same_rows(
    workbook: Path, locale: str, tmp_path: Path
) -> None:
    form = f"csv:Text - txt - csv (StarCalc):{LOCALES[locale]}"
    assert rows_of(converted(workbook, form, tmp_path)) == WANTED


@pytest.mark.nightly
def test_an_xlsx_written_by_it_reads_as_the_same_rows(workbook: Path, tmp_path: Path) -> None:
    assert rows_of(converted(workbook, "xlsx", tmp_path)) == WANTED
