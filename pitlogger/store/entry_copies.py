"""The entries of late once more, in a small file of their own.

An entry is acknowledged once the database and this file have it on the disk. Damage in the
database or its write-ahead log then takes no entry in silence: the next start compares the two,
puts back what is missing, and says so. A line is a checksum (CRC-32, eight hexadecimal digits), a
space and a JSON object: ``{"run": {...}}`` when a run begins, ``{"entry": "...", "cooks": [...]}``.
A line whose checksum does not fit is passed over: the last one may be torn.
"""

from __future__ import annotations

import json
import logging
import os
import zlib
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import Any, NamedTuple

from pitlogger.files import set_aside, sync
from pitlogger.formats.journal_json import load_entry
from pitlogger.store.rows import JournalRow, RunRow

log = logging.getLogger(__name__)

MOST_BYTES = 1 << 18  # of one file, some 1000 entries; the one before it is kept beside


def copies_of(database: Path) -> Path:
    """Return where the copies of a database's entries lie."""
    return database.with_name(database.name + "-entries")


def _older(path: Path) -> Path:
    return path.with_name(path.name + ".1")


class EntryCopies:
    """Appends to the file of one database, for one run."""

    def __init__(self, database: Path, run: RunRow) -> None:
        self._path = copies_of(database)
        self._run = run
        self._handle: int | None = None

    def keep(self, rows: Sequence[JournalRow]) -> None:
        """Have the disk take copies of entries.

        Where it refuses, only the log tells: the database has them, and it will tell too.
        """
        if not rows:
            return
        text = "".join(
            _line({"entry": row.text, "cooks": [row.cook, *row.also] if row.cook else []})
            for row in rows
        )
        try:
            self._write(text)
        except OSError as fault:
            log.error("entries have no copy in %s: %s", self._path, fault)
            self.close()

    def close(self) -> None:
        """Close the file."""
        if self._handle is not None:
            with suppress(OSError):
                os.close(self._handle)
            self._handle = None

    def _write(self, text: str) -> None:
        if self._handle is not None:
            about = os.fstat(self._handle)
            if about.st_size > MOST_BYTES or not about.st_nlink:  # none: somebody removed it
                self.close()
        if self._handle is None:
            self._handle = self._open()
            text = _line({"run": asdict(self._run)}) + text
        data = text.encode()
        while data:
            data = data[os.write(self._handle, data) :]
        os.fdatasync(self._handle)

    def _open(self) -> int:
        with suppress(FileNotFoundError):
            if self._path.stat().st_size > MOST_BYTES:
                self._path.replace(_older(self._path))
        handle = os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, 0o640)
        os.write(handle, b"\n")  # ends a line that a power cut tore
        sync(self._path.parent)
        return handle


def _line(document: dict[str, Any]) -> str:
    text = json.dumps(document, ensure_ascii=False, separators=(",", ":"))
    return f"{zlib.crc32(text.encode()):08x} {text}\n"


class Copy(NamedTuple):
    """An entry as copied: its text, and the cooks it belongs to."""

    run: str
    seq: int
    text: str
    cooks: tuple[str, ...]

    def row(self) -> JournalRow:
        """Return it as a row of the journal.

        Raises:
            ValueError, KeyError, UsageError: It is no entry that this version knows.
        """
        cook = self.cooks[0] if self.cooks else None
        return JournalRow(load_entry(json.loads(self.text)), self.text, cook, self.cooks[1:])


def read_copies(database: Path) -> tuple[list[RunRow], list[Copy]]:
    """Return the runs and entries of which there are copies, in the order written."""
    runs: dict[str, RunRow] = {}
    copies: dict[tuple[str, int], Copy] = {}
    path = copies_of(database)
    for document in (*_documents(_older(path)), *_documents(path)):
        with suppress(ValueError, KeyError, TypeError):  # of a later version
            if "run" in document:
                run = RunRow(**document["run"])
                runs[run.run] = run
            else:
                text = str(document["entry"])
                said = json.loads(text)
                name = (str(said["run"]), int(said["seq"]))
                copies[name] = Copy(*name, text, tuple(map(str, document["cooks"])))
    return list(runs.values()), list(copies.values())


def _documents(path: Path) -> Iterator[dict[str, Any]]:
    try:
        lines: Iterable[bytes] = path.read_bytes().split(b"\n")
    except OSError:
        return
    for line in lines:
        crc, _, text = line.partition(b" ")
        with suppress(ValueError):
            if len(crc) == 8 and int(crc, 16) == zlib.crc32(text):
                document = json.loads(text)
                if isinstance(document, dict):
                    yield document


def set_copies_aside(database: Path) -> None:
    """Set the copies aside where the database beside them is to be another one."""
    for path in (copies_of(database), _older(copies_of(database))):
        with suppress(OSError):
            set_aside(path)
