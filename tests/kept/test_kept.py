"""Samples of earlier releases are read by this one: no record, file or program is left behind."""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from pitlogger.config import load_config
from pitlogger.errors import StoreError
from pitlogger.formats.bundle import load_bundle
from pitlogger.formats.capture import read_capture
from pitlogger.formats.cose import read_signed, verify
from pitlogger.model.journal import Noted
from pitlogger.store import Reader, Store
from pitlogger.store.backup import backups_in, restore
from pitlogger.store.migrations import VERSION, migrate
from tests.fleet.made import key_and_uid
from tests.kept.promises import promises
from tests.store.conftest import WAIT_S, entry, run_row
from tests.web.conftest import make_node

HERE = Path(__file__).parent
RELEASES = sorted(path.name for path in HERE.glob("v*"))
KINDS = ["cook-started", "weighed", "stage-set", "noted", "stage-set", "weighed", "cook-finished"]


def record(path: Path, release: str) -> Path:
    """Make a record as a release left it."""
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript((HERE / release / "record.sql").read_text(encoding="utf-8"))
    return path


def test_there_is_a_sample_of_each_release() -> None:
    assert RELEASES[0] == "v0.1"


@pytest.mark.parametrize("release", RELEASES)
def test_its_configuration_is_accepted(tmp_path: Path, release: str) -> None:
    path = shutil.copy(HERE / release / "config.toml", tmp_path)
    assert load_config(Path(path)).device[0].id == "bench-scale"


@pytest.mark.parametrize("release", RELEASES)
def test_its_capture_is_read_whole(release: str) -> None:
    lines = (HERE / release / "cook.senml").read_text(encoding="utf-8").splitlines()
    told = json.dumps([repr(one) for one in read_capture(HERE / release / "cook.senml")])
    assert lines
    for said in ("probe-0", "probe-1", "brisket-1", "lit with oak", "6300000", "3150000"):
        assert said in told, said


@pytest.mark.parametrize("release", RELEASES)
def test_its_record_is_opened_read_and_written_on(tmp_path: Path, release: str) -> None:
    path = record(tmp_path / "pitlogger.db", release)
    store = Store.open(path, run_row("run-9", start_ms=1_790_100_000_000))
    store.append([entry(1, Noted("went on"), run="run-9")]).result(WAIT_S)
    store.close()
    with Reader.open(path) as reader:
        entries = reader.entries()
        assert [one.body.kind for one in entries][:7] == KINDS
        assert entries[3].body == Noted("lit with oak, wind from the west ☂")
        assert isinstance(entries[-1].body, Noted)
        (old, _) = reader.runs()
        assert sum(1 for _ in reader.readings(None, 0, 1 << 60, run=old.run)) == 240


@pytest.mark.parametrize("release", RELEASES)
def test_upgraded_in_mid_cook_and_rolled_back(tmp_path: Path, release: str) -> None:
    """The new version goes on with the cook; the old one gets back the file it left."""
    path = record(tmp_path / "pitlogger.db", release)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("DELETE FROM journal WHERE kind = 'cook-finished'")
        connection.commit()
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        left = list(connection.iterdump())
    migrate(path, tmp_path / "backups")
    made = backups_in(tmp_path / "backups")
    assert len(made) == (1 if version < VERSION else 0)
    with closing(sqlite3.connect(path)) as connection:  # as the version after this one would
        connection.execute(f"PRAGMA user_version={VERSION + 1}")
    with pytest.raises(StoreError, match="newer version"):
        Store.open(path, run_row("run-9", start_ms=1_790_100_000_000))
    if made:
        restore(made[0], path)
    else:
        with closing(sqlite3.connect(path)) as connection:
            connection.execute(f"PRAGMA user_version={VERSION}")
    with closing(sqlite3.connect(path)) as connection:
        assert list(connection.iterdump()) == left


@pytest.mark.parametrize("release", RELEASES)
def test_its_bundles_are_taken_and_their_signatures_hold(release: str) -> None:
    key, _ = key_and_uid(7)
    sent = json.loads((HERE / release / "bundles.json").read_text(encoding="utf-8"))
    bodies = []
    for message in sent:
        signed = read_signed(bytes.fromhex(message))
        bundle = load_bundle(verify(signed, key.public_key()))
        bodies += [json.loads(part.text)["kind"] for part in bundle.entries]
    assert bodies == KINDS


@pytest.mark.parametrize("release", RELEASES)
async def test_its_api_is_still_there(tmp_path: Path, release: str) -> None:
    frozen = (HERE / release / "api.txt").read_text(encoding="utf-8").splitlines()
    async with make_node(tmp_path) as node:
        document = (await node.local.get("/api/v1/openapi.json")).json()
    assert [line for line in frozen if line not in set(promises(document))] == []
    del document["components"]["schemas"]["HealthView"]["properties"]["well"]
    assert [line for line in frozen if line not in set(promises(document))] != []
