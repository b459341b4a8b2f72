"""Where log lines go: with their level to journald, readable to a terminal."""

from __future__ import annotations

import logging
import os

# syslog(3): what journald takes as level at the beginning of a line.
_LEVELS = ((logging.ERROR, 3), (logging.WARNING, 4), (logging.INFO, 6), (logging.DEBUG, 7))


class JournalFormatter(logging.Formatter):
    """Lines as journald wants them: ``<level>`` in front, no time of their own."""

    def format(self, record: logging.LogRecord) -> str:
        text = super().format(record)
        level = next((number for least, number in _LEVELS if record.levelno >= least), 7)
        return "\n".join(f"<{level}>{line}" for line in text.splitlines())


def set_up(verbose: bool) -> None:
    """Send log lines to standard error, in the form of whoever reads it."""
    handler = logging.StreamHandler()
    to_journal = "JOURNAL_STREAM" in os.environ
    made = JournalFormatter if to_journal else logging.Formatter
    handler.setFormatter(made("%(message)s" if to_journal else "%(levelname)s %(message)s"))
    level = logging.INFO if verbose else logging.WARNING
    logging.basicConfig(level=level, handlers=[handler], force=True)
    logging.getLogger("httpx").setLevel(logging.WARNING)  # it logs addresses, tokens and all
