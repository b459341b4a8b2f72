"""Records of earlier schemas, frozen as SQL in ``schemas/``, brought to the present one."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from datetime import UTC
from pathlib import Path
from typing import Any

import pytest

from pitlogger.formats.journal_json import dump_entry
from pitlogger.model.journal import SignedOff
from pitlogger.reports.cook_record import load_record
from pitlogger.rules.messages import Units
from pitlogger.safety.policy import shipped_policy
from pitlogger.safety.record import chain
from pitlogger.safety.sheets import sheets
from pitlogger.store import Reader, Store
from pitlogger.store.backup import backups_in, restore
from pitlogger.store.mending.preparing import prepare
from pitlogger.store.migrations import VERSION, migrate
from pitlogger.yields.document import piece_document
from tests.store.conftest import WAIT_S, entry, reading, run_row

SCHEMAS = Path(__file__).with_name("schemas")
EARLIER = range(1, VERSION)
YIELD = ("piece", "purchased_g", "servable_g", "servable_pct", "masses")


def earlier(path: Path, schema: int) -> Path:
    """Make a file as an earlier version left it."""
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA page_size=2048")
        connection.executescript((SCHEMAS / f"schema-{schema}.sql").read_text(encoding="utf-8"))
    return path


NEWER = {"time_control"}  # verdicts that the frozen samples did not have


def told(reader: Reader) -> dict[str, Any]:
    """Return what yields, the food log, the report and the outbox say, in figures."""
    policy = shipped_policy("retail-food-code")
    record = load_record(reader, None, policy, Units("F", "lb-oz"), UTC)
    document = {
        "yields": [
            {key: piece_document(one)[key] for key in YIELD} for one in record.accounts
        ],
        "food_log": [
            [row.sheet, row.product, row.observed_ms, row.by, row.met]
            for row in sheets(
                record.entries, record.book, record.verdicts, policy, record.end_ms
            )
        ],
        "verdicts": {
            held.piece: {name: verdict.get("met") for name, verdict in held.document().items()
                         if isinstance(verdict, dict) and name not in NEWER}
            for held in record.verdicts
        },
        "span": [record.wall.full(record.start_ms), record.wall.full(record.end_ms)],
        "lines": {line.channel: [sum(line.readings), min(line.low), max(line.high)]
                  for line in record.lines},
        "gaps": [list(gap) for gap in record.gaps],
        "lost": [lost.readings for lost in record.lost],
        "entries": dict(sorted(Counter(kept.body.kind for kept in reader.entries()).items())),
        "readings": sum(
            1 for run in reader.runs() for _ in reader.readings(None, 0, 1 << 60, run=run.run)
        ),
        "waiting": [notice.id for notice in reader.outbox()],
    }  # fmt: skip
    return json.loads(json.dumps(document))  # type: ignore[no-any-return]


@pytest.mark.parametrize("schema", EARLIER)
def test_an_earlier_record_says_the_same_after_it_was_brought_up_to_date(
    tmp_path: Path, schema: int
) -> None:
    path = earlier(tmp_path / "pitlogger.db", schema)
    migrate(path, tmp_path / "backups")
    frozen = json.loads((SCHEMAS / f"schema-{schema}.json").read_text(encoding="utf-8"))
    with Reader.open(path) as reader:
        assert told(reader) == frozen


@pytest.mark.parametrize("schema", EARLIER)
def test_it_has_the_tables_indexes_and_views_of_a_new_one(tmp_path: Path, schema: int) -> None:
    def shape(path: Path) -> set[tuple[str, str, str | None]]:
        with closing(sqlite3.connect(path)) as connection:
            rows = connection.execute("SELECT type, name, sql FROM sqlite_schema")
            return {(kind, name, sql and " ".join(sql.split())) for kind, name, sql in rows}

    old, new = earlier(tmp_path / "old.db", schema), tmp_path / "new.db"
    for path in (old, new):
        migrate(path, tmp_path / "backups")
    assert shape(old) == shape(new)


@pytest.mark.parametrize("schema", EARLIER)
def test_a_backup_is_made_before_and_brings_the_old_record_back(
    tmp_path: Path, schema: int
) -> None:
    path = earlier(tmp_path / "pitlogger.db", schema)
    with closing(sqlite3.connect(path)) as connection:
        before = list(connection.iterdump())
    migrate(path, tmp_path / "backups")
    (backup,) = backups_in(tmp_path / "backups")
    assert f"before-schema-{VERSION}" in backup.name
    restore(backup, path)
    with closing(sqlite3.connect(path)) as connection:
        assert list(connection.iterdump()) == before
        assert connection.execute("PRAGMA user_version").fetchone() == (schema,)


@pytest.mark.parametrize("schema", EARLIER)
def test_a_store_opens_it_and_goes_on(
    tmp_path: Path, opened: Callable[..., Store], path: Path, schema: int
) -> None:
    earlier(path, schema)
    frozen = json.loads((SCHEMAS / f"schema-{schema}.json").read_text(encoding="utf-8"))
    store = opened("run-9", row=run_row("run-9", start_ms=1_790_100_000_000))
    store.append([entry(1, run="run-9")], [reading(100_000)]).result(WAIT_S)
    with store.reader() as reader:
        assert sum(told(reader)["entries"].values()) == sum(frozen["entries"].values()) + 1
        assert told(reader)["yields"] == frozen["yields"]


def test_what_was_signed_before_holds_after(tmp_path: Path) -> None:
    """An entry reads the same for ever, else every signed log would show as altered."""
    path = earlier(tmp_path / "pitlogger.db", 2)
    migrate(path, tmp_path / "backups")
    with Reader.open(path) as reader:
        cook = reader.cooks()[0].id
        entries = reader.entries(cook=cook)
    (signed,) = [entry.body for entry in entries if isinstance(entry.body, SignedOff)]
    links = chain(dump_entry(entry) for entry in entries)
    assert links[signed.entries - 1].hash == signed.head


def test_runs_have_tags_and_each_entry_follows_from_those_before(tmp_path: Path) -> None:
    path = earlier(tmp_path / "pitlogger.db", 2)
    migrate(path, tmp_path / "backups")
    with closing(sqlite3.connect(path)) as connection:
        ids = [row[0] for row in connection.execute("SELECT id FROM journal_entry")]
        rows = connection.execute("SELECT run, entry, chain FROM journal ORDER BY run, seq")
        previous: dict[int, bytes] = {}
        for run, text, linked in rows:
            digest = hashlib.sha256(previous.get(run, b"") + text.encode()).digest()
            assert linked == digest
            previous[run] = linked
    assert len(set(ids)) == len(ids)
    with Reader.open(path) as reader:
        for entry in reader.entries():
            assert [found for found, _ in reader.entries_by_id(entry.id)] == [entry]


def test_one_that_cannot_be_brought_up_to_date_stays_as_it_was(path: Path) -> None:
    earlier(path, 1)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE INDEX outbox_created ON outbox (alert)")  # in the way
    assert "outbox_created already exists" in str(prepare(path, path.parent / "backups").fault)
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (1,)
        names = {row[0] for row in connection.execute("SELECT name FROM sqlite_schema")}
    assert "journal_kind" not in names


def test_a_new_file_is_made_without_loading_what_analysts_use(path: Path) -> None:
    program = (
        "import sys; from pathlib import Path; from pitlogger.store.migrations import migrate;"
        f" migrate(Path({str(path)!r}), Path({str(path.parent)!r}));"
        " assert not {'numpy', 'pandas', 'pyarrow'} & set(sys.modules), 'loaded';"
        " import numpy"  # and whoever needs it later finds it
    )
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0


@pytest.mark.parametrize(
    ("asked", "index"),
    [
        ({"kinds": ["check-made"]}, "journal_kind"),
        ({"kinds": ["noted"], "cook": "a"}, "journal_cook"),
    ],
)
def test_entries_are_found_by_the_index_that_narrows_most(
    reader: Reader, asked: dict[str, Any], index: str
) -> None:
    statements: list[str] = []
    reader._connection.set_trace_callback(statements.append)
    reader.entries(**asked)
    reader._connection.set_trace_callback(None)
    plan = [row[3] for row in reader._connection.execute(f"EXPLAIN QUERY PLAN {statements[0]}")]
    assert any(index in step for step in plan), plan
