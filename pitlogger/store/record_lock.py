"""One process a record: a lock that the kernel lets go of when its holder ends, however it ends.

Source: flock(2). What stands in the file only tells a person who holds it.
"""

from __future__ import annotations

import fcntl
import json
import logging
import os
from pathlib import Path

from pitlogger.clock import rfc3339
from pitlogger.errors import RecordHeldError

log = logging.getLogger(__name__)
_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


class RecordLock:
    """Holds a record until it is released or the process ends."""

    def __init__(self, handle: int | None) -> None:
        """Take over an open, locked file; ``take`` makes one."""
        self._handle = handle

    @classmethod
    def take(cls, database: Path, now_ms: int) -> RecordLock:
        """Lock a record, before anything else of it is touched.

        Where the disk takes no file, nothing is locked: alarms matter more than a twin.

        Args:
            database: The database file; the lock lies beside it.
            now_ms: UTC, for the message about who holds it.

        Raises:
            RecordHeldError: Another process holds it.
        """
        path = database.with_name(database.name + "-lock")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
        except OSError as fault:
            log.error("the record is not locked: %s: %s", path, fault.strerror)
            return cls(None)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            holder = os.read(handle, 1000)
            os.close(handle)
            raise RecordHeldError(f"{database} is in use by {_named(holder)}") from None
        boot = _BOOT_ID.read_text(encoding="ascii").strip() if _BOOT_ID.exists() else ""
        words = json.dumps({"pid": os.getpid(), "boot_id": boot, "since": rfc3339(now_ms)})
        try:
            os.ftruncate(handle, 0)
            os.pwrite(handle, words.encode(), 0)
        except OSError as fault:  # a full disk: it is locked all the same
            log.warning("%s does not say who holds it: %s", path, fault.strerror)
        return cls(handle)

    def release(self) -> None:
        """Let go of the record."""
        if self._handle is not None:
            os.close(self._handle)
            self._handle = None


def _named(holder: bytes) -> str:
    """Return who holds a lock, in words."""
    try:
        told = json.loads(holder)
        who = f"process {int(told['pid'])} since {told['since']}"
    except (ValueError, KeyError, TypeError):
        who = "another process"
    return f"{who}: stop it first (systemctl stop pitlogger), or name another [store] path"
