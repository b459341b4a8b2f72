"""What is received goes into PostgreSQL: many rows at once, by COPY.

Of what a node has not sent before, all is appended. What it sends again, and late readings, are
laid beside the table first and compared there.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pitlogger.hub import records
from pitlogger.hub.copy_rows import copied
from pitlogger.hub.postgres import PostgresDatabase
from pitlogger.hub.receive import ReceivedBundle
from pitlogger.hub.tables import POSTGRES_TYPES
from pitlogger.hub.writing import HubSink, contradicts, newer

_JOURNAL, _SPAN = ", ".join(records.JOURNAL), ", ".join(records.SPAN)
_KNOWN_ENTRIES = (
    "SELECT DISTINCT given.node, given.run"
    " FROM unnest(?::integer[], ?::text[], ?::bigint[]) AS given (node, run, seq)"
    " JOIN journal USING (node, run, seq)"
)
_SAME_ENTRIES = (
    "DELETE FROM loading_journal AS given USING journal AS kept WHERE kept.node = given.node"
    " AND kept.run = given.run AND kept.seq = given.seq AND kept.entry = given.entry"
)
_TAKE_ENTRIES = (
    f"INSERT INTO journal ({_JOURNAL}) SELECT {_JOURNAL} FROM loading_journal"
    " ON CONFLICT DO NOTHING"
)
_OTHER_ENTRIES = (
    "SELECT given.tenant, given.node, given.run, given.seq, kept.entry, given.entry"
    " FROM loading_journal AS given JOIN journal AS kept USING (node, run, seq)"
    " WHERE kept.entry <> given.entry"
)
_KNOWN_SPANS = (
    "SELECT DISTINCT given.node, given.run FROM unnest(?::integer[], ?::text[], ?::bigint[],"
    " ?::text[]) AS given (node, run, block_ms, channel)"
    " JOIN span USING (node, block_ms, channel, run)"
)
_SAME_SPANS = (
    "DELETE FROM loading_span AS given USING span AS kept WHERE kept.node = given.node"
    " AND kept.block_ms = given.block_ms AND kept.channel = given.channel"
    " AND kept.run = given.run AND kept.rev = given.rev AND kept.data = given.data"
)
_TAKE_SPANS = f"INSERT INTO span ({_SPAN}) SELECT {_SPAN} FROM loading_span " + newer(
    "span", "node, block_ms, channel, run", records.SPAN[6:]
)
_OTHER_SPANS = (
    "SELECT given.tenant, given.node, given.run, given.channel, given.block_ms, kept.data,"
    " given.data FROM loading_span AS given"
    " JOIN span AS kept USING (node, block_ms, channel, run)"
    " WHERE kept.rev = given.rev AND kept.data <> given.data"
)


class PostgresSink(HubSink):
    """Appends rows that are new; lays others beside the table and takes over what is new."""

    def __init__(self, database: PostgresDatabase) -> None:
        super().__init__(database)
        self._postgres = database

    def _prepare(self, batch: Sequence[ReceivedBundle]) -> None:
        self._postgres.make_months(
            span.block_ms for received in batch for span in received.bundle.spans
        )

    def _put_entries(self, rows: list[records.Row], at_ms: int, told: set[tuple[int, str]]) -> None:
        given: dict[tuple[Any, ...], records.Row] = {}
        for row in rows:
            first = given.setdefault(row[1:4], row)
            if first[-1] != row[-1]:
                both = (*row[:2], "entry", f"{row[2]}/{row[3]}", first[-1], row[-1])
                self._conflict(both, at_ms, told)
        rest = self._append("journal", records.JOURNAL, list(given.values()), _KNOWN_ENTRIES, (3,))
        if not rest or self._postgres.run(_SAME_ENTRIES) == rest:
            return
        self._postgres.run(_TAKE_ENTRIES)
        for tenant, node, run, seq, kept, other in self._postgres.ask(_OTHER_ENTRIES):
            self._conflict((tenant, node, "entry", f"{run}/{seq}", kept, other), at_ms, told)
        self._postgres.run("DELETE FROM loading_journal")

    def _put_spans(self, rows: list[records.Row], at_ms: int, told: set[tuple[int, str]]) -> None:
        newest: dict[tuple[object, ...], records.Row] = {}  # two revisions may come at once
        for row in rows:
            key = (row[1], row[5], row[3], row[2])
            if key not in newest or newest[key][6] < row[6]:
                newest[key] = row
            elif newest[key][6] == row[6] and contradicts(newest[key][8], row[8]):
                self._other_span((*row[:4], row[5], newest[key][8], row[8]), at_ms, told)
        rest = self._append("span", records.SPAN, list(newest.values()), _KNOWN_SPANS, (5, 3))
        if not rest or self._postgres.run(_SAME_SPANS) == rest:
            return
        self._postgres.run(_TAKE_SPANS)
        for other in self._postgres.ask(_OTHER_SPANS):
            if contradicts(*other[5:]):
                self._other_span(other, at_ms, told)
        self._postgres.run("DELETE FROM loading_span")

    def _other_span(self, other: records.Row, at_ms: int, told: set[tuple[int, str]]) -> None:
        tenant, node, run, channel, block_ms, kept, given = other
        what = f"{run}/{channel}/{block_ms}"
        self._conflict((tenant, node, "span", what, kept.hex(), given.hex()), at_ms, told)

    def _append(
        self, table: str, columns: Sequence[str], rows: list[records.Row], known: str,
        rest_of_key: tuple[int, ...],
    ) -> int:  # fmt: skip
        """Append rows of runs that send what was not here; lay the others beside the table.

        A bundle is written whole, so that its first row shows whether it was here. Where that is
        wrong, as when another ingester has it at hand, all are laid beside the table.

        Returns:
            How many were laid there.
        """
        first: dict[tuple[int, str], records.Row] = {}
        for row in rows:
            first.setdefault(row[1:3], row)
        keys = [[row[at] for row in first.values()] for at in (1, 2, *rest_of_key)]
        again = set(self._postgres.ask(known, keys)) if rows else set()
        new = [row for row in rows if row[1:3] not in again] if again else rows
        types = POSTGRES_TYPES[table]
        if new and self._postgres.append(table, columns, copied(types, new)):
            rows = [row for row in rows if row[1:3] in again] if again else []
        if rows:
            self._postgres.load(table, columns, copied(types, rows))
        return len(rows)
