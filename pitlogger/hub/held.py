"""Does the hub still have what it confirmed? A node says what that was; the database is counted.

After a restore from yesterday's backup the receipts given since are void. Nothing in the database
shows that; what a node remembers does.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitlogger.formats.bundle import HeldPart
from pitlogger.hub.database import Database


def lacking(database: Database, node: int, held: Sequence[HeldPart]) -> tuple[str, ...]:
    """Return the runs of a node of which less is here than was confirmed."""
    return tuple(part.run for part in held if _lacks(database, node, part))


def _lacks(database: Database, node: int, part: HeldPart) -> bool:
    ((entries,),) = database.ask(
        "SELECT count(*) FROM journal WHERE node = ? AND run = ? AND seq <= ?",
        (node, part.run, part.seq),
    )
    ((spans,),) = database.ask(
        "SELECT count(*) FROM span WHERE node = ? AND run = ? AND block_ms >= ? AND block_ms < ?",
        (node, part.run, part.from_ms, part.to_ms),
    )
    return bool(entries < part.entries or spans < part.spans)
