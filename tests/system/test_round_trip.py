"""Simulated, imported, exported, replayed: the cook stays what it was.

The scenario is our own invention; what is checked is that nothing changes on the way.
"""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from pitlogger.formats.capture import Decision, read_capture
from pitlogger.model.journal import CookFinished, CookStarted
from pitlogger.model.readings import Reading
from tests.system.test_demo import SAUSAGES, command

pytestmark = pytest.mark.slow


@dataclass(frozen=True, slots=True)
class Way:
    """A folder in which commands run against a daemon of its own."""

    folder: Path

    def ask(self, *arguments: str, code: int = 0) -> str:
        done = subprocess.run(
            command(*arguments), cwd=self.folder, check=False, capture_output=True, text=True,
            timeout=120, env={**os.environ, "PITLOGGER_SOCKET": str(self.socket)},
        )  # fmt: skip
        assert done.returncode == code, done.stderr
        return done.stdout if code == 0 else done.stderr

    def json(self, *arguments: str) -> Any:
        return json.loads(self.ask(*arguments, "--json"))

    @property
    def socket(self) -> Path:
        return self.folder / "pitlogger.sock"


@pytest.fixture(scope="module")
def way(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Way]:
    made = Way(tmp_path_factory.mktemp("trip"))
    (made.folder / "sausages.toml").write_text(SAUSAGES, encoding="utf-8")
    (made.folder / "node.toml").write_text(
        f'[node]\ndata = "{made.folder / "data"}"\nsocket = "{made.socket}"\n'
        "[web]\nenabled = false\n",
        encoding="utf-8",
    )
    made.ask("simulate", "sausages.toml", "--out", "given.senml")
    daemon = subprocess.Popen(
        command("run", "--config", "node.toml"), cwd=made.folder, stderr=subprocess.PIPE
    )
    with daemon:
        try:
            assert daemon.stderr is not None
            assert any(b"pitlogger runs" in line for line in daemon.stderr)
            yield made
        finally:
            daemon.send_signal(signal.SIGTERM)


@pytest.fixture(scope="module")
def cook(way: Way) -> str:
    said = way.json("import", "given.senml", "--cook", "given.toml")
    assert said["imported"] == 1
    cook: str = said["cooks"][0]["cook"]
    way.ask("export", "--cook", cook, "--out", "back.senml")
    return cook


@pytest.fixture(scope="module")
def given(way: Way) -> dict[str, Any]:
    document: dict[str, Any] = way.json("replay", "given.senml", "--cook", "given.toml")
    return document


@pytest.fixture(scope="module")
def back(way: Way, cook: str) -> dict[str, Any]:
    document: dict[str, Any] = way.json("replay", "back.senml")
    return document


def said(path: Path) -> list[tuple[Any, ...]]:
    """Return what a capture says, apart from where its decisions were first recorded."""
    found: list[tuple[Any, ...]] = []
    for record in read_capture(path):
        if isinstance(record, Reading):
            found.append((record.t_ms, repr(record)))
        elif isinstance(record, Decision):
            found.append((record.t_ms, repr(record.body), record.by))
    return found


def test_the_capture_comes_back_as_it_was_with_its_cook_named(way: Way, cook: str) -> None:
    given, back = said(way.folder / "given.senml"), said(way.folder / "back.senml")
    added = [record for record in back if record not in given]
    assert [type_of(record) for record in added] == [CookStarted.__name__, CookFinished.__name__]
    assert [record for record in back if record not in added] == given


def type_of(record: tuple[Any, ...]) -> str:
    return str(record[1]).partition("(")[0]


def test_a_second_trip_changes_nothing_at_all(way: Way, cook: str, tmp_path: Path) -> None:
    back = way.folder / "back.senml"
    lines = back.read_text(encoding="utf-8").replace("capture-", "elsewhere-")
    (way.folder / "again.senml").write_text(lines, encoding="utf-8")
    again = way.json("import", "again.senml")["cooks"][0]["cook"]
    way.ask("export", "--cook", again, "--out", "twice.senml")
    assert said(way.folder / "twice.senml") == said(back)


@pytest.mark.parametrize("what", ["alerts", "stages", "weighings", "yields", "forecasts"])
def test_the_export_replays_to_the_same(
    given: dict[str, Any], back: dict[str, Any], what: str
) -> None:
    assert given[what] or what == "alerts"
    assert [row for row in back[what] if row not in given[what]] == []
    assert back[what][: len(given[what])] == given[what]


def test_the_record_holds_the_alerts_that_replay_shows(
    way: Way, cook: str, given: dict[str, Any]
) -> None:
    shown = given["alerts"]
    way.ask("export", "--csv", "--table", "alerts", "--cook", cook, "--out", "alerts.csv",
            "--config", "node.toml")  # fmt: skip
    with (way.folder / "alerts.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["kind"], row["state"]) for row in rows][: len(shown)] == [
        (row["kind"], row["state"]) for row in shown
    ]


def test_the_file_gives_the_capture_that_the_daemon_gives(way: Way, cook: str) -> None:
    way.ask("export", "--cook", cook, "--config", "node.toml", "--out", "file.senml")
    assert (way.folder / "file.senml").read_bytes() == (way.folder / "back.senml").read_bytes()
    assert way.ask("export", "--cook", cook, "--config", "node.toml") == (
        way.folder / "back.senml"
    ).read_text(encoding="utf-8")


def test_an_own_cook_is_not_put_on_record_twice(way: Way, cook: str) -> None:
    assert "on record here already" in way.ask("import", "back.senml", code=1)


def test_the_same_file_again_is_one_cook(way: Way, cook: str) -> None:
    before = way.ask("store", "doctor", "--config", "node.toml", "--json")
    way.ask("import", "given.senml", "--cook", "given.toml")
    after = way.ask("store", "doctor", "--config", "node.toml", "--json")
    kept = ("cooks", "entries", "readings")
    assert [json.loads(before)[key] for key in kept] == [json.loads(after)[key] for key in kept]


def test_a_dry_run_says_the_same_and_needs_no_daemon(way: Way, cook: str) -> None:
    dry = json.loads(
        subprocess.run(
            command("import", "given.senml", "--cook", "given.toml", "--dry-run", "--json"),
            cwd=way.folder, check=True, capture_output=True, text=True,
            env={**os.environ, "PITLOGGER_SOCKET": "/nowhere"},
        ).stdout
    )  # fmt: skip
    assert dry["imported"] == 0
    assert dry["cooks"][0]["cook"] == cook


def test_a_capture_without_a_cook_is_refused_with_what_to_do(way: Way) -> None:
    assert "--cook" in way.ask("import", "given.senml", code=2)


def test_a_capture_that_breaks_off_names_its_line(way: Way) -> None:
    text = (way.folder / "given.senml").read_text(encoding="utf-8")
    (way.folder / "cut.senml").write_text(text[: len(text) // 2], encoding="utf-8")
    said = way.ask("import", "cut.senml", "--cook", "given.toml", code=2)
    assert f"cut.senml:{text[: len(text) // 2].count(chr(10)) + 1}:" in said


# -- tables ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def tables(way: Way, cook: str) -> dict[str, list[tuple[float, str, float | None]]]:
    """Return time, channel and value of every reading, by the form it was read back from."""
    for form in ("csv", "jsonl", "xlsx"):
        way.ask("export", f"--{form}", "--table", "readings", "--cook", cook,
                "--out", f"readings.{form}", "--config", "node.toml")  # fmt: skip
    found: dict[str, list[tuple[float, str, float | None]]] = {}
    with (way.folder / "readings.csv").open(encoding="utf-8", newline="") as file:
        found["csv"] = [
            row_of(row["utc"], row["channel"], row["value"]) for row in csv.DictReader(file)
        ]
    lines = (way.folder / "readings.jsonl").read_text(encoding="utf-8").splitlines()
    found["jsonl"] = [
        row_of(row["utc"], row["channel"], row.get("value"))
        for row in map(json.loads, lines)
        if "channel" in row
    ]
    sheet = openpyxl.load_workbook(way.folder / "readings.xlsx")["readings"]
    head, *rows = sheet.iter_rows(values_only=True)
    names = [str(name) for name in head]
    found["xlsx"] = [
        row_of(row[names.index("utc")], row[names.index("channel")], row[names.index("value")])
        for row in rows
    ]
    return found


def row_of(at: object, channel: object, value: object) -> tuple[float, str, float | None]:
    moment = at if isinstance(at, datetime) else datetime.fromisoformat(str(at))
    stamp = f"{moment:%Y-%m-%dT%H:%M:%S.%f}"
    number = None if value in (None, "") else round(float(str(value)), 6)
    return datetime.fromisoformat(f"{stamp}+00:00").timestamp(), str(channel), number


@pytest.mark.parametrize("form", ["csv", "jsonl", "xlsx"])
def test_every_table_file_reads_back_as_the_capture_has_it(
    way: Way, tables: dict[str, list[tuple[float, str, float | None]]], form: str
) -> None:
    scale = {"bench-scale": 1000}  # tables tell masses in grams, milligrams inside
    given = [
        (record.t_ms / 1000, record.channel,
         None if record.value is None else round(record.value / scale.get(record.channel, 1000), 6))
        for record in read_capture(way.folder / "given.senml")
        if isinstance(record, Reading)
    ]  # fmt: skip
    assert sorted(tables[form], key=str) == sorted(given, key=str)
