"""Paper logs: what is read, and what is said of what cannot be."""

import io
from decimal import Decimal
from pathlib import Path

import pytest
from openpyxl import Workbook

from pitlogger.errors import QuantityError, UsageError
from pitlogger.formats.paper_log import PaperLog, parse_paper_log, read_paper_log
from pitlogger.formats.written_mass import parse_weights, written_mass

GOOD = """date,cook,piece,cut,label_kg,purchased,trimmed_kg,carved,price_per_lb,wrap,pull_at,notes
2026-05-02,spring,b1,brisket-packer,6.52,14.2 lb,5.126,7.05 lb,4.29,paper,203F,"first, good"
2026-05-09,spring,b2,Brisket Packer,,13 lb 7 oz,,3.1 kg,,,,
"""


def read(text: str) -> PaperLog:
    return parse_paper_log(text.encode(), "log.csv")


def fault(row: str, header: str = "cut,purchased,carved") -> str:
    log = read(f"{header}\n{row}\n")
    assert not log.rows
    return log.faults[0].message


def test_a_row_is_read_with_units_from_cell_or_header() -> None:
    first, second = read(GOOD).all_rows()
    assert first.masses["label"].mass_mg == 6_520_000
    assert first.masses["purchased"].mass_mg == written_mass("14.2 lb").mass_mg
    assert (first.wrap, first.notes, first.line) == ("paper", "first, good", 2)
    assert first.price_per_kg == pytest.approx(Decimal("9.4578"), abs=Decimal("0.0001"))
    assert (second.cut, set(second.masses)) == ("brisket-packer", {"purchased", "carved"})


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("brisket-packer,14.2,3 kg", "no unit"),
        ("brisket-packer,'6,1 kg',3 kg", "4 cells, but the header names 3"),
        ("brisket-packer,6,1,3,0", "write decimals with a point"),
        ("brisket-paker,6 kg,3 kg", "did you mean 'brisket-packer'"),
        (",6 kg,3 kg", "no cut"),
        ("brisket-packer,6 kg,6.2 kg", "not below purchased"),
        ("brisket-packer,0 kg,3 kg", "above zero"),
        ("brisket-packer,-6 kg,3 kg", "zero or more"),
    ],
)
def test_a_bad_cell_names_file_line_and_fault(row: str, said: str) -> None:
    message = fault(row)
    assert message.startswith("log.csv:2: ")
    assert said in message


def test_decimal_commas_are_refused_with_the_line() -> None:
    log = read("cut;purchased;carved\nbrisket-packer;6,1 kg;3 kg\n")
    assert "log.csv:2: column 'purchased'" in log.faults[0].message
    assert "use a point for decimals" in log.faults[0].message


def test_good_rows_are_kept_beside_bad_ones_but_not_given_unasked() -> None:
    log = read("cut,purchased,carved\ntri-tip,2 kg,1.5 kg\ntri-tip,2,1\n")
    assert (len(log.rows), len(log.faults)) == (1, 1)
    with pytest.raises(UsageError, match=r"log.csv:3"):
        log.all_rows()


def test_semicolons_tabs_and_a_byte_order_mark_are_read() -> None:
    for mark in (";", "\t"):
        text = GOOD.split("\n", 1)[0].replace(",", mark) + "\n"
        assert parse_paper_log(b"\xef\xbb\xbf" + text.encode()).rows == ()
    assert parse_paper_log("cut,purchased\ntri-tip,2 kg\n".encode("utf-16")).all_rows()


def test_another_encoding_is_named_with_its_line() -> None:
    with pytest.raises(UsageError, match=r"log.csv:2: byte 0xe9 is not UTF-8"):
        parse_paper_log("cut,notes\ntri-tip,café\n".encode("latin-1"), "log.csv")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("date,purchased\n", "no column 'cut'"),
        ("cut,purchased,purchased_kg\n", "two columns"),
        ("cut,trimed\n", "did you mean 'trimmed'"),
        ('cut,notes\ntri-tip,"open\n', "quotes"),
    ],
)
def test_a_table_that_cannot_be_read_is_refused(text: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        read(text)


def test_a_strange_column_is_named_as_not_read() -> None:
    assert read("cut,weather\ntri-tip,rain\n").ignored == ("weather",)


def test_cell_and_header_may_not_contradict() -> None:
    assert "says kg" in fault("tri-tip,14 lb", "cut,purchased_kg")


@pytest.mark.parametrize("cell", ["2026-13-01", "spring"])
def test_a_date_is_year_month_day(cell: str) -> None:
    assert "year-month-day" in fault(f"tri-tip,{cell}", "cut,date")


def test_a_spreadsheet_is_read_like_a_csv(tmp_path: Path) -> None:
    book, data = Workbook(), io.BytesIO()
    sheet = book.active
    assert sheet is not None
    sheet.append(["cut", "purchased_kg", "carved", "date"])
    sheet.append(["tri-tip", 2.5, "1.9 kg", "2026-05-02"])
    book.save(data)
    (tmp_path / "log.xlsx").write_bytes(data.getvalue())
    (row,) = read_paper_log(tmp_path / "log.xlsx").all_rows()
    assert row.masses["purchased"].mass_mg == 2_500_000


def test_a_missing_or_damaged_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="cannot be read"):
        read_paper_log(tmp_path / "none.csv")
    (tmp_path / "bad.xlsx").write_bytes(b"not a sheet")
    with pytest.raises(UsageError, match="not an XLSX"):
        read_paper_log(tmp_path / "bad.xlsx")


@pytest.mark.parametrize(
    ("text", "interval_mg"),
    [
        ("14.2lb", 45_359),
        ("4.218 kg", 1000),
        ("450 g", 1000),
        ("13 lb 7 oz", 28_350),
        ("6 kg", 50_000),
    ],
)
def test_the_last_digit_tells_the_interval(text: str, interval_mg: int) -> None:
    assert written_mass(text).interval_mg == interval_mg


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no weights"),
        ("purchased", "checkpoint=mass"),
        ("trimed=5kg", "did you mean 'trimmed'"),
        ("carved=5kg,sliced=5kg", "twice"),
        ("carved=5", "no unit"),
    ],
)
def test_weights_that_cannot_be_read_are_refused(text: str, said: str) -> None:
    with pytest.raises(QuantityError, match=said):
        parse_weights(text)
