"""The thread that answers questions about the record, with a reader of its own."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import TypeVar

from pitlogger.errors import StoreError
from pitlogger.store.queries import Reader

Answer = TypeVar("Answer")


class ReaderThread:
    """Answers one question after another; opens the file anew where it was replaced."""

    def __init__(self, path: Path, on_fault: Callable[[Exception], None]) -> None:
        self._path = path
        self._on_fault = on_fault
        self._reader: Reader | None = None
        self._inode: int | None = None  # that the reader has open
        self._asked = ThreadPoolExecutor(1, thread_name_prefix="pitlogger-reader")

    def ask(self, question: Callable[[Reader], Answer]) -> Future[Answer]:
        """Put a question; its future fails with ``StoreError`` where the file cannot be read."""
        return self._asked.submit(self._answer, question)

    def close(self) -> None:
        """End after what was asked is answered."""
        self._asked.submit(self._close_reader)
        self._asked.shutdown()

    def _answer(self, question: Callable[[Reader], Answer]) -> Answer:
        try:
            return question(self._current())
        except (sqlite3.Error, OSError) as error:
            self._on_fault(error)
            raise StoreError(
                f"the database could not be read: {error}. `pitlogger store doctor` tells"
                " more; what is written is not touched by this"
            ) from error

    def _current(self) -> Reader:
        inode = self._path.stat().st_ino
        if self._reader is None or inode != self._inode:
            self._close_reader()
            self._reader, self._inode = Reader.open(self._path), inode
        return self._reader

    def _close_reader(self) -> None:
        if self._reader is not None:
            self._reader.close()
            self._reader = None
