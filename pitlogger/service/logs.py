"""Where log lines go: with their level to journald, readable to a terminal."""

from __future__ import annotations

import logging
import os
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

# syslog(3): what journald takes as level at the beginning of a line.
_LEVELS = ((logging.ERROR, 3), (logging.WARNING, 4), (logging.INFO, 6), (logging.DEBUG, 7))


BURST, WINDOW_S = 20, 60.0
MOST_KINDS = 200
LONGEST = 8000  # characters of a message, its traceback included

_CONTROL = {
    code: f"\\x{code:02x}" for code in (*range(32), *range(127, 160)) if code not in (9, 10)
}


@dataclass(slots=True)
class _Kind:
    """How often a kind of message came since ``since_s``."""

    since_s: float
    count: int = 0


class RateLimit(logging.Filter):
    """Lets through ``BURST`` messages of one kind a minute, and says how many it left out.

    A kind is a logger, a level and the text before its values are filled in, so that whoever
    makes the same thing fail a thousand times fills no disk.
    """

    def __init__(self) -> None:
        super().__init__()
        self._kinds: dict[tuple[str, int, str], _Kind] = {}

    def filter(self, record: logging.LogRecord) -> bool:
        key = (record.name, record.levelno, str(record.msg)[:80])
        now_s = time.monotonic()
        kind = self._kinds.pop(key, None)
        left_out = 0
        if kind is None or now_s - kind.since_s >= WINDOW_S:
            left_out = 0 if kind is None else max(0, kind.count - BURST)
            kind = _Kind(now_s)
        while len(self._kinds) >= MOST_KINDS:
            del self._kinds[next(iter(self._kinds))]
        self._kinds[key] = kind
        kind.count += 1
        if kind.count > BURST and record.levelno < logging.CRITICAL:
            return False
        if left_out:
            record.msg, record.args = f"{record.getMessage()} ({left_out} more like this)", ()
        elif kind.count == BURST:
            record.msg = f"{record.getMessage()} (more like this are left out for a minute)"
            record.args = ()
        return True


class LineFormatter(logging.Formatter):
    """Text that steers no terminal and has an end; where an error came from goes into a file.

    Args:
        reports: Folder for such files, before the usual ones.
    """

    def __init__(self, form: str, reports: Path | None = None) -> None:
        super().__init__(form)
        self._reports = () if reports is None else (reports,)

    def formatException(self, given: Any) -> str:  # noqa: N802 - the name is logging's
        """Return the error in a line, with the file that has the rest."""
        from pitlogger.service import crash

        error = given[1]
        left = crash.leave_anywhere(error, (), *self._reports, kind="fault")
        said = crash.blotted(f"{type(error).__name__}: {error}")
        return f"{said}; where it came from is in {left}"

    def format(self, record: logging.LogRecord) -> str:
        text = super().format(record).translate(_CONTROL)
        return text if len(text) <= LONGEST else f"{text[:LONGEST]} ..."


class JournalFormatter(LineFormatter):
    """Lines as journald wants them: ``<level>`` in front, no time of their own."""

    def format(self, record: logging.LogRecord) -> str:
        text = super().format(record)
        level = next((number for least, number in _LEVELS if record.levelno >= least), 7)
        return "\n".join(f"<{level}>{line}" for line in text.splitlines())


def set_up(verbose: bool, reports: Path | None = None) -> None:
    """Send log lines to standard error, in the form of whoever reads it.

    Args:
        reports: Folder for files that tell where an error came from.
    """
    handler = logging.StreamHandler()
    to_journal = "JOURNAL_STREAM" in os.environ
    made = JournalFormatter if to_journal else LineFormatter
    form = "%(message)s" if to_journal else "%(levelname)s %(message)s"
    handler.setFormatter(made(form, reports))
    handler.addFilter(RateLimit())
    level = logging.INFO if verbose else logging.WARNING
    logging.basicConfig(level=level, handlers=[handler], force=True)
    logging.getLogger("httpx").setLevel(logging.WARNING)  # it logs addresses, tokens and all
