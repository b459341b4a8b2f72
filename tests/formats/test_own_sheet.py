"""Spreadsheets as people keep them, made by the writers of real programs."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import openpyxl
import pytest
import xlsxwriter

from pitlogger.errors import QuantityError, UsageError
from pitlogger.formats.own_sheet import OwnSheet, read_own, reference
from pitlogger.formats.paper_log import table_of
from pitlogger.formats.sheet_words import column_meant, cuts_meant, iso_date
from pitlogger.questions import Answers, QuestionError

LB = 453_592.37
HEADER = ["Date", "Event", "Meat", "Raw Weight", "Trimmed wt (lb)", "Sliced", "Vendor", "Mood"]
ROWS = [
    ["5/2/2026", "smith wedding", "Brisket", "14.2", "11.3", "7.05", "river farm", "good"],
    ["5/9/2026", "grad party", "Pork Butt", "8.4", "", "4.5", "river farm", ""],
    ["6/1/2026", "grad party", "brisket", "13 lb 7 oz", "10.9", "6.6", "", "tired"],
]
ANSWERS = Answers.of("month first: 2026-05-02; lb; brisket-packer")


def csv_of(tmp_path: Path, rows: list[list[str]], delimiter: str = ",") -> Path:
    file = tmp_path / "mine.csv"
    file.write_text("\n".join(delimiter.join(row) for row in rows) + "\n", encoding="utf-8")
    return file


def read(file: Path, answers: Answers = ANSWERS) -> OwnSheet:
    return read_own(table_of(file).lines, file.name, answers)


def test_an_honest_spreadsheet_is_read_whole(tmp_path: Path) -> None:
    sheet = read(csv_of(tmp_path, [["Briskets 2026"], HEADER, *ROWS]))
    assert sheet.log.faults == ()
    assert sheet.log.ignored == ("Mood",)
    assert sheet.skipped == (1,)
    first = sheet.log.rows[0]
    assert (first.date, first.cut, first.supplier) == ("2026-05-02", "brisket-packer", "river farm")
    assert first.masses["purchased"].mass_mg == pytest.approx(14.2 * LB, abs=1)
    assert [row.cut for row in sheet.log.rows] == ["brisket-packer", "pork-butt", "brisket-packer"]


def test_what_can_mean_two_things_is_asked_once_each(tmp_path: Path) -> None:
    file = csv_of(tmp_path, [HEADER, *ROWS])
    given, asked = Answers(), []
    for _ in range(5):
        try:
            read(file, given)
            break
        except QuestionError as fault:
            asked.append(fault.asked.question)
            given = Answers.of(fault.asked.confirm)
    assert len(asked) == 3
    assert len(set(asked)) == 3


def test_a_date_that_can_only_be_read_one_way_settles_the_others(tmp_path: Path) -> None:
    rows = [[*ROWS[0]], ["5/23/2026", *ROWS[1][1:]]]
    sheet = read(csv_of(tmp_path, [HEADER, *rows]), Answers.of("lb; brisket-packer"))
    assert [row.date for row in sheet.log.rows] == ["2026-05-02", "2026-05-23"]


def test_all_faults_are_told_at_once_with_their_cells(tmp_path: Path) -> None:
    bad = [
        ["5/32/2026", "x", "brisket", "14.2", "", "7", "", ""],
        ["5/3/2026", "x", "brisquit", "14.2", "", "7", "", ""],
        ["5/3/2026", "x", "brisket", "-3", "", "soon", "", ""],
    ]
    sheet = read(csv_of(tmp_path, [HEADER, *bad, ROWS[1]]))
    told = "\n".join(fault.message for fault in sheet.log.faults)
    for cell in ("A2", "C3", "D4", "F4"):
        assert cell in told
    assert len(sheet.log.rows) == 1


def test_a_sheet_of_xlsxwriter_with_real_dates_and_numbers(tmp_path: Path) -> None:
    file = tmp_path / "mine.xlsx"
    with xlsxwriter.Workbook(str(file)) as book:
        sheet = book.add_worksheet()
        day = book.add_format({"num_format": "d mmm yyyy"})
        sheet.write_row(0, 0, ["My cooks"])
        sheet.write_row(2, 0, HEADER)
        sheet.write_datetime(3, 0, dt.date(2026, 5, 2), day)
        sheet.write_row(3, 1, ["smith", "Packer", 14.2, 11.3, 7.05, "river farm", ""])
    row = read(file, Answers.of("lb")).log.rows[0]
    assert (row.date, row.cut) == ("2026-05-02", "brisket-packer")
    assert row.masses["carved"].mass_mg == pytest.approx(7.05 * LB, abs=1)


def test_a_sheet_of_openpyxl_in_kilograms(tmp_path: Path) -> None:
    file = tmp_path / "mine.xlsx"
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Day", "Cut", "Raw (kg)", "Pulled (kg)", "Price/kg"])
    sheet.append([dt.date(2026, 5, 2), "boston butt", 3.8, 2.05, 6.2])
    book.save(file)
    (row,) = read(file, Answers()).log.rows
    assert (row.cut, row.masses["purchased"].mass_mg, str(row.price_per_kg)) == (
        "pork-butt", 3_800_000, "6.2",
    )  # fmt: skip


def test_semicolons_and_decimal_commas(tmp_path: Path) -> None:
    rows = [["Datum", "Date", "Cut", "Raw kg", "Sliced kg"],
            ["", "2.5.2026", "flat", "3,2", "1,9"]]  # fmt: skip
    (row,) = read(csv_of(tmp_path, rows, ";"), Answers()).log.rows
    assert (row.date, row.masses["purchased"].mass_mg) == ("2026-05-02", 3_200_000)


@pytest.mark.parametrize(
    ("title", "meant"),
    [
        ("Raw Weight", ("purchased", None)),
        ("Trimmed wt (lb)", ("trimmed", "lb")),
        ("purchased_kg", ("purchased", "kg")),
        ("WEIGHT AFTER TRIM", ("trimmed", None)),
        ("At wrap", ("at-wrap", None)),
        ("price per lb", ("price", "lb")),
        ("$/lb", ("price", "lb")),
        ("Guests", ("guests", None)),
        ("Mood", None),
    ],
)
def test_titles(title: str, meant: tuple[str, str | None] | None) -> None:
    assert column_meant(title) == meant


def test_cuts_dates_and_cells() -> None:
    assert cuts_meant("Brisket") == ("brisket-packer", "brisket-flat", "brisket-point")
    assert cuts_meant("baby backs") == ("pork-baby-back",)
    assert iso_date("2 May 2026", False) == iso_date("May 2, 2026", False) == "2026-05-02"
    assert iso_date("2/5/26", True) == "2026-05-02"
    with pytest.raises(QuantityError):
        iso_date("31/31/2026", True)
    assert [reference(7, place) for place in (0, 25, 26, 701)] == ["A7", "Z7", "AA7", "ZZ7"]


def test_a_column_that_means_nothing_known_is_told_by_hand(tmp_path: Path) -> None:
    header = ["Date", "Meat", "Raw Weight", "Sliced", "Onto plates (lb)"]
    rows = [["5/20/2026", "packer", "14.2 lb", "7.9 lb", "7.05"]]
    file = csv_of(tmp_path, [header, *rows])
    assert read(file, Answers()).log.ignored == ("Onto plates (lb)",)
    for said in ("onto plates (lb) = carved", "Onto Plates (lb) = sliced"):
        log = read(file, Answers((said,))).log
        assert log.ignored == ("Sliced",)  # what was said by hand counts
        assert log.rows[0].masses["carved"].mass_mg == pytest.approx(7.05 * LB, abs=1)
    log = read(file, Answers(("sliced = nothing",))).log
    assert log.ignored == ("Sliced", "Onto plates (lb)")


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("onto plates = carvd", "did you mean 'carved'"),
        ("plate = carved", "unknown column 'plate'"),
    ],
)
def test_a_meaning_or_a_title_that_is_not_there_is_refused(
    tmp_path: Path, said: str, words: str
) -> None:
    rows = [["Date", "Meat", "Raw", "Onto plates"], ["5/20/2026", "packer", "14 lb", "7 lb"]]
    with pytest.raises(UsageError, match=words):
        read(csv_of(tmp_path, rows), Answers((said,)))
