"""Is the hub's record whole: holes in journals, spans that cannot be read, what was set aside."""

from __future__ import annotations

from dataclasses import dataclass, field

from pitlogger.errors import PitloggerError
from pitlogger.hub.database import Database
from pitlogger.store.packing import packed_count

AT_ONCE = 2_000


@dataclass(slots=True)
class Findings:
    """What was counted and what is wrong.

    Attributes:
        gaps: (node, run, entries that are missing below the last). Nodes send what is
            missing; look at the node where a gap stays.
        damaged: Spans whose data are not what their row says.
    """

    nodes: int = 0
    entries: int = 0
    spans: int = 0
    readings: int = 0
    conflicts: int = 0
    refused: int = 0
    gaps: list[tuple[str, str, int]] = field(default_factory=list)
    damaged: list[str] = field(default_factory=list)


def verify(database: Database) -> Findings:
    """Go through all of a hub's record."""
    found = Findings(*(
        database.ask(f"SELECT {what} FROM {table}")[0][0]
        for what, table in (
            ("count(*)", "node"), ("count(*)", "journal"), ("count(*)", "span"),
            ("cast(coalesce(sum(readings), 0) AS bigint)", "span"), ("count(*)", "conflict"),
            ("count(*)", "refused"),
        )
    ))  # fmt: skip
    found.gaps = [(uid, run, missing) for uid, run, missing in database.ask(
        "SELECT uid, run, max(seq) - count(*) FROM journal JOIN node ON node.id = journal.node"
        " GROUP BY uid, run HAVING max(seq) <> count(*) ORDER BY uid, run"
    )]  # fmt: skip
    for (node,) in database.ask("SELECT id FROM node ORDER BY id"):
        _read_spans(database, node, found)
    return found


def _read_spans(database: Database, node: int, found: Findings) -> None:
    after = (-(1 << 62), "", "")
    while rows := database.ask(
        "SELECT block_ms, channel, run, readings, data FROM span WHERE node = ?"
        " AND (block_ms, channel, run) > (?, ?, ?) ORDER BY block_ms, channel, run LIMIT ?",
        (node, *after, AT_ONCE),
    ):
        for block_ms, channel, run, readings, data in rows:
            try:
                count = packed_count(bytes(data))
            except (PitloggerError, ValueError):
                count = -1
            if count != readings:
                found.damaged.append(f"{run}/{channel}/{block_ms}")
        after = rows[-1][:3]
