"""A file of rows, one JSON object a line, only ever added to."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any, Generic, TypeVar

from pitlogger.errors import StoreError
from pitlogger.files import append_line

log = logging.getLogger(__name__)
Row = TypeVar("Row")


class RowFile(Generic[Row]):
    """The rows of one file, each a dataclass of one kind.

    Args:
        is_private: Its owner alone may read it.
    """

    def __init__(self, path: Path, kind: type[Row], *, is_private: bool = False) -> None:
        self._path = path
        self._kind = kind
        self._is_private = is_private

    def rows(self) -> Iterator[Row]:
        """Yield the rows, oldest first; one that cannot be read is left out and logged.

        A power cut in the middle of a line leaves such a row: it was never acknowledged.
        """
        try:
            lines = self._path.read_text(encoding="utf-8").splitlines()
        except FileNotFoundError:
            return
        for number, line in enumerate(lines, 1):
            try:
                yield self._kind(**json.loads(line))
            except (ValueError, TypeError):
                log.warning("%s:%d cannot be read and is left out", self._path.name, number)

    def add(self, row: Any) -> None:
        """Add a row; it is on disk when this returns.

        Raises:
            StoreError: The disk refuses.
        """
        try:
            if self._is_private:
                self._path.touch(0o600)
                self._path.chmod(0o600)
            append_line(self._path, json.dumps(asdict(row), ensure_ascii=False))
        except OSError as fault:
            raise StoreError(f"{self._path} cannot be written: {fault.strerror}") from None
