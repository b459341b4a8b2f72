"""Bytes that turn and files that are cut: it starts, and nothing is lost in silence."""

from __future__ import annotations

import base64
import json
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from pitlogger.errors import StoreError
from pitlogger.model.journal import Noted
from pitlogger.store import Reader
from pitlogger.store.doctor import examine
from pitlogger.store.mending.journal_check import aside_of, keep_aside
from pitlogger.store.migrations import VERSION
from tests.store import rot
from tests.store.rot import cut, make_record, open_again, spoil_one, turned


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[int, str]]:
    folder = tmp_path_factory.mktemp("made")
    return folder, make_record(folder)


@pytest.mark.parametrize("how", [turned, cut])
def test_whatever_is_spoiled_it_starts_and_tells(
    made: tuple[Path, dict[int, str]], tmp_path: Path, how: Callable[..., None]
) -> None:
    for seed in range(12):
        folder, name = spoil_one(made[0], tmp_path, seed, how)
        outcome = open_again(folder, made[1])
        assert not outcome.is_silent, (name, seed, outcome.lost)


def test_a_sound_record_tells_nothing(made: tuple[Path, dict[int, str]], tmp_path: Path) -> None:
    shutil.copytree(made[0] / "killed", tmp_path / "sound")
    outcome = open_again(tmp_path / "sound", made[1])
    assert (outcome.said, outcome.lost) == ([], [])


def test_a_log_that_is_gone_takes_no_entry_along(
    made: tuple[Path, dict[int, str]], tmp_path: Path
) -> None:
    folder = tmp_path / "spoiled"
    shutil.copytree(made[0] / "killed", folder)
    (folder / "pitlogger.db-wal").write_bytes(b"\0" * 5000)
    outcome = open_again(folder, made[1])
    assert outcome.lost == []
    assert "put back from their copies" in " ".join(outcome.said)


def edited(made: Path, folder: Path, *statements: str) -> Path:
    """Return a copy of a record with something changed behind its back, and no copies."""
    shutil.copytree(made / "killed", folder)
    (folder / "pitlogger.db-entries").unlink()
    with closing(sqlite3.connect(folder / "pitlogger.db")) as connection, connection:
        for statement in statements:
            connection.execute(statement)
    return folder


SEQ_50 = "run = (SELECT id FROM run WHERE run = 'run-1') AND seq = 50"


@pytest.mark.parametrize(
    ("statement", "lost", "word"),
    [
        (f"UPDATE journal SET entry = replace(entry, '50', '51') WHERE {SEQ_50}", [50], "aside"),
        (f"UPDATE journal SET entry = CAST(x'80ff' AS TEXT) WHERE {SEQ_50}", [50], "aside"),
        (f"UPDATE journal SET entry = '{{' WHERE {SEQ_50}", [50], "aside"),
        (f"UPDATE journal SET chain = x'00' WHERE {SEQ_50}", [], "checksum"),
        (f"UPDATE journal SET t_ms = 7 WHERE {SEQ_50}", [], "mended"),
        (f"UPDATE journal SET kind = 'weighed' WHERE {SEQ_50}", [], "mended"),
        (f"DELETE FROM journal WHERE {SEQ_50}", [50], "not known"),
        (f"PRAGMA user_version={VERSION | 4}", [], "header"),
        ("PRAGMA user_version=1", [], "header"),
        ("PRAGMA application_id=5", [], "header"),
        ("UPDATE snapshot SET body = x'00'", [], "snapshot"),
    ],
)  # fmt: skip
def test_what_one_byte_changes_is_mended_or_set_aside_and_told(
    made: tuple[Path, dict[int, str]], tmp_path: Path, statement: str, lost: list[int], word: str
) -> None:
    folder = edited(made[0], tmp_path / "spoiled", statement)
    outcome = open_again(folder, made[1])
    assert outcome.lost == lost
    assert word in " ".join(outcome.said)
    again = tmp_path / "again"
    again.mkdir()
    with Reader.open(folder / "pitlogger.db") as reader:
        notes = {row.seq: row.body for row in reader.entries(run="run-1")}
    for seq in lost:
        note = notes[seq]
        assert isinstance(note, Noted)
        assert "damaged on the disk" in note.text


def index_on(column: str, before: str) -> str:
    return (
        f"UPDATE sqlite_schema SET sql = replace(sql, '({before})', '({column})')"
        " WHERE name = 'journal_kind'"
    )


def test_an_index_that_lies_is_rebuilt(made: tuple[Path, dict[int, str]], tmp_path: Path) -> None:
    folder = edited(
        made[0], tmp_path / "spoiled", "PRAGMA writable_schema=ON", index_on("seq", "kind"),
        "PRAGMA writable_schema=RESET", "REINDEX journal_kind", "PRAGMA writable_schema=ON",
        index_on("kind", "seq"),
    )  # fmt: skip
    outcome = open_again(folder, made[1])
    assert outcome.lost == []
    assert "indexes of the database were damaged and are rebuilt" in " ".join(outcome.said)


def test_a_description_that_lies_is_mended(
    made: tuple[Path, dict[int, str]], tmp_path: Path
) -> None:
    folder = edited(
        made[0], tmp_path / "spoiled", "PRAGMA writable_schema=ON",
        "UPDATE sqlite_schema SET sql = replace(sql, 'readings_kept', 'seadings_kept')"
        " WHERE name = 'cook'",
    )  # fmt: skip
    outcome = open_again(folder, made[1])
    assert outcome.lost == []
    assert "table cook was damaged" in " ".join(outcome.said)


def test_a_file_of_a_later_version_is_refused_and_left(
    made: tuple[Path, dict[int, str]], tmp_path: Path
) -> None:
    folder = edited(
        made[0], tmp_path / "later", f"PRAGMA user_version={VERSION + 1}",
        "UPDATE run SET version = '9.9'",
    )  # fmt: skip
    with pytest.raises(StoreError, match="newer version"):
        open_again(folder, made[1])


def test_the_doctor_sees_what_is_damaged_before_anything_mends_it(
    made: tuple[Path, dict[int, str]], tmp_path: Path
) -> None:
    statement = f"UPDATE journal SET entry = replace(entry, '50', '51') WHERE {SEQ_50}"
    folder = edited(made[0], tmp_path / "spoiled", statement)
    found = examine(folder / "pitlogger.db", folder)
    assert found["sound"] is False
    assert "-50 is damaged (text)" in found["faults"][0]
    shutil.copytree(made[0] / "killed", tmp_path / "whole")
    assert examine(tmp_path / "whole" / "pitlogger.db", folder)["faults"] == []


def test_fresh_readings_that_cannot_be_read_are_set_aside_and_told_and_no_other_is_lost(
    made: tuple[Path, dict[int, str]], tmp_path: Path
) -> None:
    folder = edited(made[0], tmp_path / "spoiled", "UPDATE tail SET data = x'00ff' WHERE id = 2")
    outcome = open_again(folder, made[1])
    (told,) = [words for words in outcome.said if "last readings of run 2" in words]
    assert "set aside in pitlogger.db-set-aside.jsonl" in told
    (line,) = aside_of(folder / "pitlogger.db").read_text("utf-8").splitlines()
    assert base64.b64decode(json.loads(line)["base64"]) == b"\x00\xff"
    with Reader.open(folder / "pitlogger.db") as reader:
        left = sum(1 for _ in reader.readings(None, 0, 1 << 60))
    with Reader.open(made[0] / "pitlogger.db") as reader:
        assert left == sum(1 for _ in reader.readings(None, 0, 1 << 60)) - 20


def test_the_doctor_names_the_file_of_what_was_set_aside(
    made: tuple[Path, dict[int, str]], tmp_path: Path
) -> None:
    database = shutil.copytree(made[0] / "killed", tmp_path / "whole") / "pitlogger.db"
    assert examine(database, tmp_path)["set_aside"] is None
    keep_aside(aside_of(database), "entry 50", b"spoiled")
    assert examine(database, tmp_path)["set_aside"] == f"{database}-set-aside.jsonl"


@pytest.mark.nightly
def test_a_thousand_flips_and_two_hundred_cuts() -> None:
    assert rot.main(1000, 200) == 0


@pytest.mark.parametrize(
    ("words", "spoiled"),
    [
        (b"CREATE TABLE journal", b"CREATE TAB\xccE journal"),
        (b"CREATE VIEW", b"CREA\xd4E VIEW"),
        (b"CREATE INDEX", b"CREATE \xc9NDEX"),
        (b"10000", b"10\xb000"),
    ],
)
def test_a_description_that_is_no_text_any_more_stops_no_start(
    made: tuple[Path, dict[int, str]], tmp_path: Path, words: bytes, spoiled: bytes
) -> None:
    folder = tmp_path / "spoiled"
    shutil.copytree(made[0] / "killed", folder)
    for name in ("pitlogger.db", "pitlogger.db-wal"):
        content = (folder / name).read_bytes()
        (folder / name).write_bytes(content.replace(words, spoiled))
    outcome = open_again(folder, made[1])
    assert outcome.lost == []
    assert outcome.said
