"""Room on the disk, backups that are due, old readings that are let go."""

from __future__ import annotations

import os
import shutil
from collections import namedtuple
from pathlib import Path

import pytest

from pitlogger.clock import ManualClock
from pitlogger.config import Config, parse_config
from pitlogger.service.housekeeping import DAY_MS, NOTICES_KEPT_DAYS, Housekeeper, disk_low
from pitlogger.store import Notice, RunRow, Store

NOW_MS = 1_800_000_000_000
Usage = namedtuple("Usage", "total used free")


def config(folder: Path, store: str = "") -> Config:
    return parse_config(f'[node]\ndata = "{folder}"\n[store]\n{store}\n')


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store.open(tmp_path / "pitlogger.db", RunRow("r1", "pit", "a", NOW_MS, 0, "1"))


def free(monkeypatch: pytest.MonkeyPatch, data: int, total: int = 32_000_000_000) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda path: Usage(total, total - data, data))


def test_little_room_is_told_in_words_and_with_a_remedy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    free(monkeypatch, 120_000_000)
    found = disk_low(tmp_path)
    assert found is not None
    assert "120 MB left" in found[0]
    assert "old backups" in found[1]


def test_a_small_disk_may_be_fuller(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    free(monkeypatch, 120_000_000, total=1_000_000_000)
    assert disk_low(tmp_path) is None


def test_a_change_is_told_once(
    tmp_path: Path, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    with store:
        keeper = Housekeeper(config(tmp_path), ManualClock(NOW_MS), store)
        told = []
        for data in (9_000_000_000, 1_000_000, 1_000_000, 9_000_000_000, 9_000_000_000):
            free(monkeypatch, data)
            told.append(keeper.look_at_disk())
    assert [None if each is None else each.active for each in told] == [
        None, True, None, False, None,
    ]  # fmt: skip


def test_a_disk_that_is_gone_is_logged(
    tmp_path: Path, store: Store, caplog: pytest.LogCaptureFixture
) -> None:
    with store:
        keeper = Housekeeper(config(tmp_path / "unmounted"), ManualClock(NOW_MS), store)
        assert keeper.look_at_disk() is None
    assert "the room on the disk is not known" in caplog.text


@pytest.mark.parametrize(
    ("named", "age_days", "due"),
    [(False, 1, False), (False, 8, True), (True, 0.5, False), (True, 2, True)],
)
def test_backups_are_daily_where_a_folder_is_named_and_weekly_elsewhere(
    tmp_path: Path, store: Store, named: bool, age_days: float, due: bool
) -> None:
    with store:
        made = store.backup().result(10)
        at_s = (NOW_MS - age_days * DAY_MS) / 1000
        os.utime(made, (at_s, at_s))
        given = f'backups = "{made.parent}"' if named else ""
        keeper = Housekeeper(config(tmp_path, given), ManualClock(NOW_MS), store)
        assert keeper.backup_is_due() is due


async def test_a_sweep_makes_the_first_backup(tmp_path: Path, store: Store) -> None:
    with store:
        keeper = Housekeeper(config(tmp_path), ManualClock(NOW_MS), store)
        await keeper.sweep()
        assert not keeper.backup_is_due() or list((tmp_path / "backups").iterdir())


async def test_old_notices_are_let_go_of_unless_somebody_still_waits_for_them(
    tmp_path: Path, store: Store
) -> None:
    old_ms = NOW_MS - NOTICES_KEPT_DAYS * DAY_MS - 1
    given = [
        Notice("old", "pit-low/pit", "phone", created_ms=old_ms, done=True),
        Notice("old-and-waiting", "pit-low/pit", "phone", created_ms=old_ms),
        Notice("new", "pit-low/pit", "phone", created_ms=NOW_MS, done=True),
    ]
    with store:
        store.append(notices=given).result(10)
        await Housekeeper(config(tmp_path), ManualClock(NOW_MS), store).sweep()
        with store.reader() as reader:
            assert [row.id for row in reader.handed_in(0)] == ["old-and-waiting", "new"]


async def test_a_backup_that_cannot_be_made_is_logged(
    tmp_path: Path, store: Store, caplog: pytest.LogCaptureFixture
) -> None:
    (tmp_path / "file").touch()
    with store:
        given = f'backups = "{tmp_path / "file" / "x"}"'
        keeper = Housekeeper(config(tmp_path, given), ManualClock(NOW_MS), store)
        await keeper.sweep_or_say()
    assert "no backup was made" in caplog.text
