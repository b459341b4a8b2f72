"""``pitlogger store``: doctor, backup, restore, compact."""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from pitlogger.cli.records.store import store as group
from pitlogger.errors import StoreError, UsageError
from pitlogger.model.journal import Entry, Noted
from pitlogger.model.readings import Quality, Site, Tagged
from pitlogger.store import JournalRow, Reader, RunRow, Store

START_MS = 1_800_000_000_000


def begun(folder: Path) -> Store:
    """Return an open store with one entry and 1 000 readings."""
    store = Store.open(folder / "pitlogger.db", RunRow("r1", "pit", "a", START_MS, 0, "1"))
    readings = [
        Tagged("core", START_MS + 1000 * n, n, n, Quality.GOOD, Site.CORE, None)
        for n in range(1000)
    ]
    entry = Entry("r1", 1, START_MS, Noted("first"))
    store.append([JournalRow.of(entry)], readings).result(10)
    return store


@pytest.fixture
def config(tmp_path: Path) -> Path:
    begun(tmp_path).close()
    file = tmp_path / "pitlogger.toml"
    file.write_text(f'[node]\ndata = "{tmp_path}"\n', encoding="utf-8")
    return file


def run(config: Path, *words: str) -> Any:
    command = [*words, "--config", str(config)]
    return CliRunner().invoke(group, command, standalone_mode=False, catch_exceptions=False)


def test_doctor_tells_what_the_file_holds(config: Path) -> None:
    facts = json.loads(run(config, "doctor", "--json").output)
    assert (facts["sound"], facts["entries"], facts["readings"]) == (True, 1, 1000)
    assert facts["backups"] == []
    text = run(config, "doctor").output
    assert "sound" in text
    assert "no backup yet" in text


def test_doctor_says_that_a_file_is_damaged(config: Path, tmp_path: Path) -> None:
    database = tmp_path / "pitlogger.db"
    content = bytearray(database.read_bytes())
    content[4096:] = bytes(len(content) - 4096)
    database.write_bytes(content)
    result = run(config, "doctor")
    assert result.return_value == 1
    assert "DAMAGED" in result.output


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    file = tmp_path / "c.toml"
    file.write_text(f'[node]\ndata = "{tmp_path}/none"\n', encoding="utf-8")
    with pytest.raises(StoreError, match="there is no database at"):
        run(file, "doctor")


def test_a_backup_is_made_beside_a_running_store_and_restored(tmp_path: Path) -> None:
    store = begun(tmp_path)
    file = tmp_path / "pitlogger.toml"
    file.write_text(f'[node]\ndata = "{tmp_path}"\n', encoding="utf-8")
    made = json.loads(run(file, "backup", "--to", str(tmp_path / "stick"), "--json").output)
    assert made["entries"] == 1
    later = Entry("r1", 2, START_MS + 1, Noted("after the backup"))
    store.append([JournalRow.of(later)]).result(10)
    with pytest.raises(StoreError, match="in use: stop the daemon first"):
        run(file, "restore", made["backup"], "--yes")
    store.close()
    assert "lies at" in run(file, "restore", made["backup"], "--yes").output
    with Reader.open(tmp_path / "pitlogger.db") as reader:
        assert len(reader.entries()) == 1


def test_only_the_newest_backups_are_kept_where_a_number_is_given(
    config: Path, tmp_path: Path
) -> None:
    for _ in range(4):
        run(config, "backup", "--to", str(tmp_path / "stick"), "--keep", "2")
    assert len(list((tmp_path / "stick").iterdir())) == 2


def test_what_is_no_backup_is_not_put_in_place(config: Path, tmp_path: Path) -> None:
    (tmp_path / "x.db").write_text("no database")
    with pytest.raises(StoreError, match="cannot be read as a database"):
        run(config, "restore", str(tmp_path / "x.db"), "--yes")


def test_compacting_gives_room_back_and_asks_for_a_stopped_daemon(
    config: Path, tmp_path: Path
) -> None:
    assert "given back" in run(config, "compact", "--yes").output
    store = Store.open(tmp_path / "pitlogger.db", RunRow("r2", "pit", "a", START_MS, 0, "1"))
    store.flush().result(10)
    with store, pytest.raises(StoreError, match="in use"):
        run(config, "compact", "--yes")


def test_tables_and_views_are_listed_and_printed(config: Path) -> None:
    listed = json.loads(run(config, "tables", "--json").output)
    names = {row["name"]: row["kind"] for row in listed}
    assert names["journal_entry"] == "view"
    assert names["journal"] == "table"
    (row,) = json.loads(run(config, "tables", "journal_entry", "--json").output)
    assert (row["kind"], row["seq"], row["run"]) == ("noted", 1, "r1")
    assert run(config, "tables", "cook_span").output.strip() == ""
    assert run(config, "tables", "run", "--limit", "1").output.startswith("id,run,node")
    with pytest.raises(UsageError, match="journal_entry"):
        run(config, "tables", "journal_entri")


def test_what_was_written_is_found_by_its_words(tmp_path: Path, config: Path) -> None:
    store = Store.open(tmp_path / "pitlogger.db", RunRow("r2", "pit", "a", START_MS, 0, "1"))
    notes = ["bark soft, wind from the west", "wrapped in paper", 'Wind again; 100 % oak " OR *']
    store.append([
        JournalRow.of(Entry("r2", seq, START_MS + seq, Noted(text)), "supper")
        for seq, text in enumerate(notes, 1)
    ]).result(10)  # fmt: skip
    store.close()
    before = (tmp_path / "pitlogger.db").read_bytes()
    found = json.loads(run(config, "search", "wind", "--json").output)
    assert {row["text"] for row in found} == {notes[0], notes[2]}
    assert found[0]["cook"] == "supper"
    assert notes[0] in run(config, "search", "west", "WIND").output
    assert "nothing written fits" in run(config, "search", "tallow").output
    for hostile in ('"', "* OR *", 'a" NEAR("b"', "oak AND (", "\x00oak"):
        run_or_refuse(config, hostile)
    assert (tmp_path / "pitlogger.db").read_bytes() == before


def run_or_refuse(config: Path, words: str) -> None:
    """Search for anything: an answer or a refusal, nothing else."""
    with suppress(UsageError):
        run(config, "search", words)
