"""Tables as files, read back by other programs; nothing half-written is left behind."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.cli.records.export import export
from pitlogger.errors import PitloggerError, UsageError
from pitlogger.reports.table_files import (
    guarded,
    whole,
    write_csv,
    write_jsonl,
    write_xlsx,
)
from pitlogger.reports.tables import NAMES, FlatTable, tables
from pitlogger.store.queries import Reader
from pitlogger.store.rows import JournalRow, RunRow
from pitlogger.store.store import Store
from tests.reports.conftest import COOK_ID, MINUTE_MS, START_MS, entries, readings


def table(reader: Reader, name: str) -> FlatTable:
    return tables(reader, None, [name])[0]


def as_csv(held: FlatTable) -> list[dict[str, str]]:
    out = io.StringIO()
    write_csv(held, out)
    return list(csv.DictReader(io.StringIO(out.getvalue())))


def test_every_reading_is_in_the_csv_with_its_unit(reader: Reader) -> None:
    rows = as_csv(table(reader, "readings"))
    assert len(rows) == len(readings()) + 1  # and one by hand
    assert (rows[-1]["channel"], rows[-1]["value"]) == ("brisket-1/spot", "71.0")
    assert rows[0]["utc"] == "2026-09-21T14:30:00Z"
    assert {row["unit"] for row in rows} == {"C"}
    assert {row["piece"] for row in rows if row["channel"] == "brisket-1/core"} == {"brisket-1"}


def test_what_was_read_since_the_last_entry_of_a_cook_that_runs_is_in_the_csv(
    tmp_path: Path,
) -> None:
    path = tmp_path / "pitlogger.db"
    begun = [entry for entry in entries() if entry.t_ms <= START_MS + 30 * MINUTE_MS]
    with Store.open(path, RunRow("run-1", "pit", "boot", START_MS, 0, "0.1")) as store:
        rows = [JournalRow.of(entry, COOK_ID) for entry in begun]
        store.append(entries=rows, readings=readings()).result(20)
    with Reader.open(path) as reader:
        assert len(as_csv(table(reader, "readings"))) == len(readings())


def test_weighings_are_as_corrected_and_say_so(reader: Reader) -> None:
    rows = as_csv(table(reader, "weighings"))
    wrapped = next(r for r in rows if (r["piece"], r["checkpoint"]) == ("brisket-2", "at-wrap"))
    assert (wrapped["net_g"], wrapped["corrected"]) == ("4400.0", "true")


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", "\rx"])
def test_a_text_that_looks_like_a_formula_is_guarded(text: str) -> None:
    assert guarded(text) == f"'{text}"


@given(st.text())
def test_no_guarded_text_begins_like_a_formula(text: str) -> None:
    assert not guarded(text).startswith(("=", "+", "-", "@", "\t", "\r"))


def test_a_negative_number_is_no_text_and_stays_a_number(reader: Reader) -> None:
    held = table(reader, "weighings")
    row = tuple(-1.5 if column.type == "number" else None for column in held.columns)
    assert as_csv(FlatTable("w", held.columns, [row]))[0]["net_g"] == "-1.5"


def test_jsonl_begins_with_schema_and_columns_and_holds_every_table(reader: Reader) -> None:
    out = io.StringIO()
    write_jsonl(tables(reader, None), out)
    first, *rest = [json.loads(line) for line in out.getvalue().splitlines()]
    assert first["schema"] == 1
    assert set(first["tables"]) == set(NAMES)
    assert sum(row["table"] == "journal" for row in rest) == len(entries())
    assert any(row.get("entry", "").find("=SUM(A1)") > 0 for row in rest)


def test_xlsx_is_read_back_with_real_numbers_and_times(reader: Reader, tmp_path: Path) -> None:
    path = tmp_path / "cook.xlsx"
    write_xlsx(tables(reader, None), path)
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == list(NAMES)
    sheet = book["weighings"]
    heads = [cell.value for cell in sheet[1]]
    first = dict(zip(heads, (cell.value for cell in sheet[2]), strict=True))
    assert first["utc"] == datetime(2026, 9, 21, 14, 25)  # noqa: DTZ001 - a worksheet knows no zone
    assert first["net_g"] == 6400
    assert book["readings"].max_row == len(readings()) + 2  # heads, and one by hand


def test_xlsx_holds_no_formula(reader: Reader, tmp_path: Path) -> None:
    path = tmp_path / "cook.xlsx"
    held = table(reader, "journal")
    row = tuple("=1+1" if column.type == "text" else None for column in held.columns)
    write_xlsx([FlatTable("journal", held.columns, [row])], path)
    sheet = openpyxl.load_workbook(path)["journal"]
    assert {cell.data_type for cell in sheet[2] if cell.value} == {"s"}


def test_an_unknown_table_is_answered_with_the_known_ones(reader: Reader) -> None:
    with pytest.raises(UsageError, match="did you mean 'weighings'"):
        tables(reader, None, ["weighing"])


def test_an_unknown_cook_is_answered_with_the_known_ones(reader: Reader) -> None:
    with pytest.raises(UsageError, match=COOK_ID):
        tables(reader, "harvest")


def fill_a_full_disk(path: Path) -> None:
    with whole(path) as fresh:
        fresh.write_text("half", encoding="utf-8")
        with open("/dev/full", "w", encoding="utf-8") as full:
            full.write("x" * 100_000)


def test_a_full_disk_leaves_no_partial_file(tmp_path: Path) -> None:
    path = tmp_path / "out.csv"
    path.write_text("old", encoding="utf-8")
    with pytest.raises(PitloggerError, match="No space left"):
        fill_a_full_disk(path)
    assert [held.name for held in tmp_path.iterdir()] == ["out.csv"]
    assert path.read_text(encoding="utf-8") == "old"


LIMITED = """
import resource, signal
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (2048, 2048))
from pitlogger.cli import main
main()
"""


@pytest.mark.slow
@pytest.mark.parametrize(
    "given",
    [["export", f"--{form}"] for form in ("csv", "jsonl", "xlsx")]
    + [["report", "cook"], ["report", "food-log"]],
    ids=" ".join,
)
def test_a_disk_that_fills_up_is_told_in_words_and_nothing_is_left(
    given: list[str], config_file: str, reader: Reader, tmp_path: Path
) -> None:
    assert reader.cooks()  # keeps the database's index open: nothing of it has to grow
    folder = tmp_path / "out"
    folder.mkdir()
    out = folder / (given[1].removeprefix("--") if given[0] == "export" else "out.html")
    argv = [sys.executable, "-c", LIMITED, *given, "--config", config_file, "--out", str(out)]
    done = subprocess.run(argv, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "File too large" in done.stderr
    assert "nothing was left behind" in done.stderr
    assert "Traceback" not in done.stderr
    assert list(folder.iterdir()) == []


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    missing = tmp_path / "no" / "out.csv"
    with pytest.raises(PitloggerError, match="No such file"), whole(missing) as fresh:
        fresh.write_text("x", encoding="utf-8")


@pytest.fixture
def config_file(database: Path, tmp_path: Path) -> str:
    path = tmp_path / "pitlogger.toml"
    path.write_text(f'[node]\ndata = "{database.parent}"\n', encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("form", ["csv", "jsonl", "xlsx"])
def test_the_command_writes_each_form(form: str, config_file: str, tmp_path: Path) -> None:
    out = tmp_path / f"cook.{form}"
    result = CliRunner().invoke(export, [f"--{form}", "--config", config_file, "--out", str(out)])
    assert result.exception is None
    assert out.stat().st_size > 1000


def test_the_command_writes_text_to_standard_output(config_file: str) -> None:
    given = ["--csv", "--table", "stages", "--config", config_file]
    result = CliRunner().invoke(export, given)
    assert result.output.splitlines()[0] == "piece,cut,stage,from_utc,to_utc,length_s"


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (["--xlsx"], "give a file with --out"),
        (["--csv", "--table", "stages", "--table", "alerts"], "one table"),
        (["--senml", "--table", "stages"], "--table goes with"),
    ],
)
def test_what_does_not_go_together_is_said(given: list[str], words: str, config_file: str) -> None:
    result = CliRunner().invoke(export, [*given, "--config", config_file])
    assert isinstance(result.exception, UsageError)
    assert words in str(result.exception)
