"""What is received goes into PostgreSQL: many rows at once, by COPY beside the tables."""

from __future__ import annotations

from collections.abc import Sequence

from pitlogger.hub import records
from pitlogger.hub.postgres import PostgresDatabase
from pitlogger.hub.receive import ReceivedBundle
from pitlogger.hub.writing import HubSink, contradicts, newer

_JOURNAL, _SPAN = ", ".join(records.JOURNAL), ", ".join(records.SPAN)
_TAKE_ENTRIES = (
    f"INSERT INTO journal ({_JOURNAL}) SELECT {_JOURNAL} FROM loading_journal"
    " ON CONFLICT DO NOTHING"
)
_OTHER_ENTRIES = (
    "SELECT given.tenant, given.node, given.run, given.seq, kept.entry, given.entry"
    " FROM loading_journal AS given JOIN journal AS kept USING (node, run, seq)"
    " WHERE kept.entry <> given.entry"
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
    """Copies rows beside the table, then takes over those that are new."""

    def __init__(self, database: PostgresDatabase) -> None:
        super().__init__(database)
        self._postgres = database

    def _prepare(self, batch: Sequence[ReceivedBundle]) -> None:
        self._postgres.make_months(
            span.block_ms for received in batch for span in received.bundle.spans
        )

    def _put_entries(self, rows: list[records.Row], at_ms: int, told: set[tuple[int, str]]) -> None:
        if not rows:
            return
        self._postgres.load("journal", records.JOURNAL, rows)
        if self._postgres.run(_TAKE_ENTRIES) != len(rows):
            for tenant, node, run, seq, kept, given in self._postgres.ask(_OTHER_ENTRIES):
                both = (tenant, node, "entry", f"{run}/{seq}", kept, given)
                self._conflict(both, at_ms, told)
        self._postgres.run("DELETE FROM loading_journal")

    def _put_spans(self, rows: list[records.Row], at_ms: int, told: set[tuple[int, str]]) -> None:
        if not rows:
            return
        newest: dict[tuple[object, ...], records.Row] = {}  # two revisions may come at once
        for row in rows:
            key = (row[1], row[5], row[3], row[2])
            if key not in newest or newest[key][6] < row[6]:
                newest[key] = row
            elif newest[key][6] == row[6] and contradicts(newest[key][8], row[8]):
                both = (row[0], row[1], "span", f"{row[2]}/{row[3]}/{row[5]}",
                        newest[key][8].hex(), row[8].hex())  # fmt: skip
                self._conflict(both, at_ms, told)
        self._postgres.load("span", records.SPAN, list(newest.values()))
        if self._postgres.run(_TAKE_SPANS) != len(newest):
            for row in self._postgres.ask(_OTHER_SPANS):
                tenant, node, run, channel, block_ms, kept, given = row
                if contradicts(kept, given):
                    what = f"{run}/{channel}/{block_ms}"
                    both = (tenant, node, "span", what, kept.hex(), given.hex())
                    self._conflict(both, at_ms, told)
        self._postgres.run("DELETE FROM loading_span")
