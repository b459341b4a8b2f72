"""Is what a node holds what the hub found: every entry to the byte, every span, every sum?"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from pitlogger.hub.database import Database

_JOURNAL = "SELECT run.run, seq, entry FROM journal JOIN run ON run.id = journal.run"
_SPANS = (
    "SELECT run.run, name, block_ms, packed.rev, readings, data FROM packed"
    " JOIN channel ON channel.id = packed.channel JOIN run ON run.id = channel.run"
)
Rows = dict[tuple[Any, ...], tuple[Any, ...]]


def of_record(path: Path) -> tuple[Rows, Rows]:
    """Return entries and spans of a node's file, by their identity."""
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True, timeout=30)) as file:
        return _keyed(file.execute(_JOURNAL).fetchall(), 2), _keyed(
            file.execute(_SPANS).fetchall(), 3
        )


def of_hub(database: Database, uid: str) -> tuple[Rows, Rows]:
    """Return the same of what a hub holds of a node."""
    journal = database.ask(
        "SELECT run, seq, entry FROM journal JOIN node ON node.id = journal.node WHERE uid = ?",
        (uid,),
    )
    spans = database.ask(
        "SELECT run, channel, block_ms, rev, readings, data FROM span"
        " JOIN node ON node.id = span.node WHERE uid = ?", (uid,),
    )  # fmt: skip
    return _keyed(journal, 2), _keyed(spans, 3)


def _keyed(rows: list[Any], key: int) -> Rows:
    found = {tuple(row[:key]): tuple(row[key:]) for row in rows}
    assert len(found) == len(rows), "one identity twice"
    return found


def differences(sent: tuple[Rows, Rows], found: tuple[Rows, Rows], *, all_of_it: bool) -> list[str]:
    """Return what differs, in words.

    Args:
        all_of_it: Whether all that was sent should be there, or only nothing else than it.
    """
    said = []
    for what, here, there in zip(("entries", "spans"), sent, found, strict=True):
        strange = [key for key in there if key not in here]
        other = [
            key for key in there if key in here and not _fits(here[key], there[key], all_of_it)
        ]
        missing = [key for key in here if key not in there] if all_of_it else []
        for word, keys in (("strange", strange), ("other", other), ("missing", missing)):
            if keys:
                said.append(f"{len(keys)} {what} {word}, such as {keys[0]}")
        if all_of_it and what == "spans" and not said:
            sums = [sum(row[1] for row in rows.values()) for rows in (here, there)]
            if sums[0] != sums[1]:
                said.append(f"readings: {sums[0]} sent, {sums[1]} found")
    return said


def _fits(here: tuple[Any, ...], there: tuple[Any, ...], all_of_it: bool) -> bool:
    """Return whether a row is the one sent; a span may still be of an older revision."""
    is_older = len(here) == 3 and not all_of_it and there[0] < here[0]
    return is_older or here == there
