"""What is received goes into the database: one commit a batch, a bundle whole or not at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from pitlogger.errors import BundleError
from pitlogger.hub import records
from pitlogger.hub.database import Database
from pitlogger.hub.receive import NODE, Aside, NodeRow, ReceivedBundle

KEPT_OF_REFUSED = 64 * 1024
CLONE_MARGIN_MS = 60_000


def _insert(table: str, columns: Sequence[str], more: str = "ON CONFLICT DO NOTHING") -> str:
    marks = ", ".join("?" * len(columns))
    return f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks}) {more}"  # noqa: S608


def newer(table: str, key: str, columns: Sequence[str]) -> str:
    """Return the clause by which a row of a higher revision replaces the one that is there."""
    changes = ", ".join(f"{name} = excluded.{name}" for name in columns)
    return f"ON CONFLICT ({key}) DO UPDATE SET {changes} WHERE excluded.rev > {table}.rev"


_PUT_JOURNAL = _insert("journal", records.JOURNAL)
_PUT_SPAN = _insert("span", records.SPAN,
                    newer("span", "node, block_ms, channel, run", records.SPAN[6:]))  # fmt: skip
_PUT_RUN = _insert("run", records.RUN, newer("run", "node, run", records.RUN[6:]))
_PUT_CLOCK = _insert(
    "clock", records.CLOCK, newer("clock", "node, run, from_ms", records.CLOCK[4:])
)
_PUT_LOST = _insert("lost", records.LOST)
_PUT_STANDING = _insert(
    "standing", ("node", "tenant", "at_ms", "received_ms", "alarms", "document"),
    "ON CONFLICT (node) DO UPDATE SET at_ms = excluded.at_ms, received_ms = excluded.received_ms,"
    " alarms = excluded.alarms, document = excluded.document"
    " WHERE excluded.at_ms >= standing.at_ms",
)  # fmt: skip


@dataclass(slots=True)
class BatchOutcome:
    """What became of a batch, once it is on disk.

    Attributes:
        received: Bundles that are in the database.
        aside: Messages set aside for good.
        has: The last entry that the database has of each run the batch was of, by node.
        cooks: Cooks that got entries, (node, cook), to be folded anew.
    """

    received: list[ReceivedBundle] = field(default_factory=list)
    aside: list[Aside] = field(default_factory=list)
    has: dict[tuple[str, str], int] = field(default_factory=dict)
    cooks: set[tuple[int, str]] = field(default_factory=set)


class HubSink:
    """Writes what is received into either database."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.hub: str = database.ask("SELECT id FROM hub")[0][0]

    def note_address(self, address: str, authority: bytes) -> None:
        """Keep where nodes join, for codes that other processes make."""
        with self.database.transaction():
            self.database.run(
                "UPDATE hub SET address = ?, authority = ?", (address, authority.decode())
            )

    def node_of(self, uid: str) -> NodeRow | None:
        """Return a node by its id, as the database has it now."""
        rows = self.database.ask(NODE, (uid,))
        return NodeRow(*rows[0]) if rows else None

    def take(
        self, batch: Sequence[ReceivedBundle], aside: Sequence[Aside], at_ms: int
    ) -> BatchOutcome:
        """Write a batch in one commit.

        A bundle that the database does not take is set aside; the rest goes on without it.

        Raises:
            HubFullError: The disk or the database refuses; nothing was written.
        """
        outcome = BatchOutcome(aside=list(aside))
        batch = sorted(
            batch, key=lambda one: one.node.id
        )  # so that two ingesters lock in one order
        self._prepare(batch)
        with self.database.transaction():
            self._put_batch(batch, at_ms, outcome)
            for one in outcome.aside:
                self.database.run(
                    "INSERT INTO refused (at_ms, uid, reason, message) VALUES (?, ?, ?, ?)",
                    (at_ms, one.uid[:64], one.reason[:500], one.message[:KEPT_OF_REFUSED]),
                )
            self._note_what_it_has(outcome)
        return outcome

    def _prepare(self, batch: Sequence[ReceivedBundle]) -> None:
        """Make room for a batch before its transaction begins."""

    def _put_batch(
        self, batch: Sequence[ReceivedBundle], at_ms: int, outcome: BatchOutcome
    ) -> None:
        """Write bundles; where many at once do not go, halve them until the bad one is alone."""
        broken: tuple[type[Exception], ...] = (BundleError, *self.database.broken)
        try:
            with self.database.attempt():
                self._put(batch, at_ms)
        except broken as fault:
            if len(batch) == 1:
                bundle = batch[0].bundle
                outcome.aside.append(
                    Aside(bundle.node, bundle.number, str(fault), batch[0].message)
                )
                return
            middle = len(batch) // 2
            self._put_batch(batch[:middle], at_ms, outcome)
            self._put_batch(batch[middle:], at_ms, outcome)
        else:
            outcome.received += batch
            outcome.cooks |= {
                (received.node.id, entry.cook)
                for received in batch
                for entry in received.bundle.entries
                if entry.cook is not None
            }

    def _put(self, batch: Sequence[ReceivedBundle], at_ms: int) -> None:
        many = self.database.many
        for received in batch:
            self._look_for_clone(received, at_ms)
        many(_PUT_RUN, [records.run_row(received) for received in batch])
        many(_PUT_CLOCK, [row for received in batch for row in records.clock_rows(received)])
        self._put_entries([row for received in batch for row in records.journal_rows(received)],
                          at_ms)  # fmt: skip
        self._put_spans([row for received in batch for row in records.span_rows(received)], at_ms)
        many(_PUT_LOST, [row for received in batch for row in records.lost_rows(received)])
        for received in batch:
            node, bundle = received.node, received.bundle
            if bundle.now is not None:
                now_ms = records.utc_ms(bundle, bundle.now.t_ms)
                self.database.run(_PUT_STANDING, (
                    node.id, node.tenant, now_ms, at_ms, bundle.now.alarms, bundle.now.text,
                ))  # fmt: skip
            self.database.run(
                "UPDATE node SET received_ms = ?, version = ?, name = ? WHERE id = ?",
                (at_ms, bundle.row.version, bundle.row.name, node.id),
            )

    def _put_entries(self, rows: list[records.Row], at_ms: int) -> None:
        for row in rows:
            if not self.database.run(_PUT_JOURNAL, row):
                self._compare_entry(row, at_ms)

    def _put_spans(self, rows: list[records.Row], at_ms: int) -> None:
        minutes = self.database.minutes
        for row in rows:
            given = (*row[:9], *(minutes(column) for column in row[9:]))
            if not self.database.run(_PUT_SPAN, given):
                self._compare_span(row, at_ms)

    def _compare_entry(self, row: records.Row, at_ms: int) -> None:
        """Keep apart an entry that contradicts one of the same identity; the first stays."""
        tenant, node, run, seq = row[:4]
        ((kept,),) = self.database.ask(
            "SELECT entry FROM journal WHERE node = ? AND run = ? AND seq = ?", (node, run, seq)
        )
        if kept != row[-1]:
            self._conflict(tenant, node, at_ms, "entry", f"{run}/{seq}", kept, row[-1])

    def _compare_span(self, row: records.Row, at_ms: int) -> None:
        tenant, node, run, channel, _, block_ms, rev, _, data = row[:9]
        ((kept_rev, kept),) = self.database.ask(
            "SELECT rev, data FROM span WHERE node = ? AND block_ms = ? AND channel = ?"
            " AND run = ?", (node, block_ms, channel, run),
        )  # fmt: skip
        if kept_rev == rev and kept != data:
            what = f"{run}/{channel}/{block_ms}"
            self._conflict(tenant, node, at_ms, "span", what, kept.hex(), data.hex())

    def _conflict(
        self, tenant: int, node: int, at_ms: int, what: str, identity: str, kept: str, given: str
    ) -> None:
        known = self.database.ask(
            "SELECT 1 FROM conflict WHERE node = ? AND what = ? AND identity = ? AND given = ?",
            (node, what, identity, given),
        )
        if not known:
            self.database.run(
                "INSERT INTO conflict (tenant, node, at_ms, what, identity, kept, given)"
                " VALUES (?, ?, ?, ?, ?, ?, ?)",
                (tenant, node, at_ms, what, identity, kept, given),
            )

    def _look_for_clone(self, received: ReceivedBundle, at_ms: int) -> None:
        """Notice two lives of one key: an older run that goes on after a newer one began."""
        bundle = received.bundle
        if bundle.row.end_ms is not None or not bundle.entries:
            return
        newer = self.database.ask(
            "SELECT 1 FROM run WHERE node = ? AND run <> ? AND boot_id <> ? AND start_ms > ?"
            " AND start_ms < ?",
            (received.node.id, bundle.run, bundle.row.boot_id, bundle.row.start_ms,
             bundle.entries[-1].t_ms - CLONE_MARGIN_MS),
        )  # fmt: skip
        if newer:
            self.database.run(
                "UPDATE node SET cloned_ms = ? WHERE id = ?", (at_ms, received.node.id)
            )

    def _note_what_it_has(self, outcome: BatchOutcome) -> None:
        for received in outcome.received:
            key = (received.bundle.node, received.bundle.run)
            if key not in outcome.has:
                ((outcome.has[key],),) = self.database.ask(
                    "SELECT coalesce(max(seq), 0) FROM journal WHERE node = ? AND run = ?",
                    (received.node.id, received.bundle.run),
                )
