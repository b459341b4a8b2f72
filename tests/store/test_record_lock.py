"""One process a record: the second one goes, and says who was first."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from pitlogger.errors import StoreError
from pitlogger.store.record_lock import RecordLock


def test_the_second_says_who_holds_it_and_may_have_it_afterwards(tmp_path: Path) -> None:
    database = tmp_path / "pitlogger.db"
    first = RecordLock.take(database, 1_790_000_000_000)
    with pytest.raises(StoreError, match=f"in use by process {os.getpid()} since 2026-09-21T"):
        RecordLock.take(database, 0)
    first.release()
    RecordLock.take(database, 0).release()


def test_a_holder_that_is_killed_holds_nothing(tmp_path: Path) -> None:
    database = tmp_path / "pitlogger.db"
    program = (
        "import os, signal; from pathlib import Path;"
        " from pitlogger.store.record_lock import RecordLock;"
        f" lock = RecordLock.take(Path({str(database)!r}), 0);"
        " os.kill(os.getpid(), signal.SIGKILL)"
    )
    subprocess.run([sys.executable, "-c", program], timeout=60, check=False)
    RecordLock.take(database, 0).release()


@pytest.mark.parametrize("content", [b"", b"\xff", b"[]", b'{"pid": "x"}', b"x" * 5000])
def test_a_lock_file_that_says_nothing_still_locks(tmp_path: Path, content: bytes) -> None:
    database = tmp_path / "pitlogger.db"
    lock = RecordLock.take(database, 0)
    (tmp_path / "pitlogger.db-lock").write_bytes(content)
    with pytest.raises(StoreError, match="in use by another process"):
        RecordLock.take(database, 0)
    lock.release()


def test_what_the_lock_says_names_the_boot(tmp_path: Path) -> None:
    lock = RecordLock.take(tmp_path / "pitlogger.db", 0)
    said = json.loads((tmp_path / "pitlogger.db-lock").read_text())
    assert said["boot_id"] == Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    lock.release()


def test_a_disk_that_takes_no_file_locks_nothing_and_stops_nothing(tmp_path: Path) -> None:
    (tmp_path / "pitlogger.db-lock").mkdir()
    RecordLock.take(tmp_path / "pitlogger.db", 0).release()
