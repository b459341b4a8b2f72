"""Print: the text is there, the cook fits one page, and pages look as they should."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest
from click.testing import CliRunner

from pitlogger.cli.records.report import report
from pitlogger.errors import PitloggerError, UsageError
from pitlogger.reports.cook_record import CookRecord
from pitlogger.reports.cook_report import cook_report
from pitlogger.reports.food_log import food_log
from pitlogger.reports.html import html
from pitlogger.reports.sheet import CAUTIONS, Sheet
from pitlogger.reports.take_along import take_along

POPPLER = shutil.which("pdftotext")
CHROMIUM = shutil.which("chromium")
needs_print = pytest.mark.skipif(
    POPPLER is None or CHROMIUM is None, reason="poppler-utils or chromium is not installed"
)


def printed(sheet: Sheet, folder: Path) -> Path:
    """Print a sheet by a browser; return the PDF."""
    page, made = folder / "sheet.html", folder / "sheet.pdf"
    page.write_text(html(sheet), encoding="utf-8")
    subprocess.run(
        ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
         f"--user-data-dir={folder / 'profile'}", f"--print-to-pdf={made}", page.as_uri()],
        check=True, capture_output=True, timeout=60,
    )  # fmt: skip
    return made


def text_of(path: Path) -> str:
    said = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], check=True, capture_output=True, text=True
    )
    return " ".join(said.stdout.split())


def pages_of(path: Path) -> int:
    said = subprocess.run(["pdfinfo", str(path)], check=True, capture_output=True, text=True)
    return next(
        int(line.split()[1]) for line in said.stdout.splitlines() if line.startswith("Pages")
    )


@pytest.mark.slow
@needs_print
@pytest.mark.parametrize("make", [cook_report, take_along])
def test_a_cook_fits_one_page(make: object, record: CookRecord, tmp_path: Path) -> None:
    assert callable(make)
    assert pages_of(printed(make(record), tmp_path)) == 1


@pytest.mark.slow
@needs_print
def test_the_food_log_is_complete_in_print(record: CookRecord, tmp_path: Path) -> None:
    told = text_of(printed(food_log(record), tmp_path))
    assert all(caution in told for caution in CAUTIONS)
    for words in (
        "<script>alert(1)</script>",
        "159.8 F",
        "13 lb 1.9 oz",
        "limit met",
        "FDA Food Code",
    ):
        assert words in told


# -- the command ----------------------------------------------------------------------------


@pytest.fixture
def config_file(database: Path, tmp_path: Path) -> str:
    path = tmp_path / "pitlogger.toml"
    path.write_text(f'[node]\ndata = "{database.parent}"\n', encoding="utf-8")
    return str(path)


def run(*given: str) -> object:
    return CliRunner().invoke(report, list(given), catch_exceptions=True)


@pytest.mark.parametrize("name", ["cook", "food-log", "take-along"])
def test_each_report_of_a_cook_is_written(name: str, config_file: str, tmp_path: Path) -> None:
    out = tmp_path / "out.html"
    result = CliRunner().invoke(report, [name, "--config", config_file, "--out", str(out)])
    assert result.exception is None
    assert out.read_bytes().startswith(b"<!DOCTYPE html>")


@pytest.mark.parametrize("name", ["report.doc", "report.pdf"])
def test_a_name_of_another_form_is_refused(name: str, config_file: str, tmp_path: Path) -> None:
    given = ["cook", "--config", config_file, "--out", str(tmp_path / name)]
    result = CliRunner().invoke(report, given)
    assert isinstance(result.exception, UsageError)


def test_a_label_for_a_receipt_printer_is_bytes(tmp_path: Path) -> None:
    out = tmp_path / "label.bin"
    given = [
        "label",
        "--no-vacuum",
        "Brisket",
        "--ingredient",
        "butter",
        "--hot",
        "--out",
        str(out),
    ]
    result = CliRunner().invoke(report, given)
    assert result.exception is None
    assert out.read_bytes().startswith(b"\x1b@")
    assert b"do not hand out" in out.read_bytes()


def test_a_printer_that_is_away_is_named() -> None:
    result = CliRunner().invoke(
        report, ["label", "--no-vacuum", "Brisket", "--printer", "127.0.0.1:9"]
    )
    assert isinstance(result.exception, PitloggerError)
    assert "127.0.0.1:9" in str(result.exception)


def test_a_label_that_ends_before_it_begins_is_refused() -> None:
    given = [
        "label",
        "--no-vacuum",
        "B",
        "--packed",
        "2026-09-19T18:00",
        "--until",
        "2026-09-18T18:00",
    ]
    result = CliRunner().invoke(report, given)
    assert isinstance(result.exception, UsageError)


def test_a_plan_that_is_none_is_told(tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    path.write_text('{"x": 1}', encoding="utf-8")
    result = CliRunner().invoke(report, ["shopping", "--plan", str(path)])
    assert isinstance(result.exception, UsageError)
    assert "pitlogger plan --json" in str(result.exception)
