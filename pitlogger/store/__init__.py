"""The database: one SQLite file, one writer thread, readers beside it.

``Store`` is what the daemon holds; ``Reader`` is what asks questions. Format and views for
other programs: ``docs/store.md``.
"""

from pitlogger.store.queries import Reader
from pitlogger.store.rows import (
    ChartLine,
    ClockRow,
    CookRow,
    JournalRow,
    LostRow,
    Notice,
    RunRow,
    Snapshot,
    StoredReading,
    Trouble,
)
from pitlogger.store.store import Store

__all__ = [
    "ChartLine",
    "ClockRow",
    "CookRow",
    "JournalRow",
    "LostRow",
    "Notice",
    "Reader",
    "RunRow",
    "Snapshot",
    "Store",
    "StoredReading",
    "Trouble",
]
