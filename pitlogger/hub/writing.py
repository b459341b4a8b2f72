"""What is received goes into the database: one commit a batch, a bundle whole or not at all."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from pitlogger.errors import BundleError, HubFullError, StoreError
from pitlogger.hub import records
from pitlogger.hub.database import Database
from pitlogger.hub.fold import BESIDE
from pitlogger.hub.receive import NODES, UID, Aside, NodeRow, ReceivedBundle
from pitlogger.store.packing import unpack

log = logging.getLogger(__name__)

KEPT_OF_REFUSED = 64 * 1024
CLONE_MARGIN_MS = 60_000


def _insert(table: str, columns: Sequence[str], more: str = "ON CONFLICT DO NOTHING") -> str:
    marks = ", ".join("?" * len(columns))
    return f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks}) {more}"


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
_STANDING = ("at_ms", "received_ms", "alarms", "document", "run", "t_ms")
_ANEW = ", ".join(f"{name} = excluded.{name}" for name in _STANDING)
_PUT_STANDING = _insert(
    "standing", ("node", "tenant", *_STANDING),
    f"ON CONFLICT (node) DO UPDATE SET {_ANEW}"
    " WHERE excluded.run <> standing.run OR excluded.t_ms >= standing.t_ms",
)  # fmt: skip
_MEND_TIMES = (
    "UPDATE journal SET utc_ms = t_ms + coalesce((SELECT offset_ms FROM clock"
    " WHERE clock.node = journal.node AND clock.run = journal.run AND from_ms <= journal.t_ms"
    " ORDER BY from_ms DESC LIMIT 1), 0) WHERE node = ? AND run = ?"
)


@dataclass(slots=True)
class BatchOutcome:
    """What became of a batch, once it is on disk.

    Attributes:
        received: Bundles that are in the database.
        aside: Messages set aside for good.
        failed: Bundles that could not be written for a reason nobody thought of: neither taken
            nor set aside, so that their nodes send them again.
        contradicted: Records, by node, that say other than what is there of the same identity.
        cooks: Cooks, (node, cook), that got entries by which they have to be folded anew.
    """

    received: list[ReceivedBundle] = field(default_factory=list)
    aside: list[Aside] = field(default_factory=list)
    failed: list[ReceivedBundle] = field(default_factory=list)
    contradicted: set[tuple[int, str]] = field(default_factory=set)
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
        return self.nodes_of([uid]).get(uid)

    def nodes_of(self, uids: Iterable[str]) -> dict[str, NodeRow]:
        """Return the nodes of these ids that the database has now; what is no id is passed over."""
        asked = sorted({uid for uid in uids if UID.fullmatch(uid)})
        rows = self.database.ask(NODES.format(", ".join("?" * len(asked))), asked) if asked else []
        return {row[1]: NodeRow(*row) for row in rows}

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
            batch, key=lambda one: (one.node.id, one.bundle.number)
        )  # so that two ingesters lock in one order
        self._prepare(batch)
        with self.database.transaction():
            self._put_batch(batch, at_ms, outcome)
            for one in outcome.aside:
                self.database.run(
                    "INSERT INTO refused (at_ms, uid, reason, message) VALUES (?, ?, ?, ?)",
                    (at_ms, one.uid[:64], one.reason[:500], one.message[:KEPT_OF_REFUSED]),
                )
        return outcome

    def _prepare(self, batch: Sequence[ReceivedBundle]) -> None:
        """Make room for a batch before its transaction begins."""

    def _put_batch(
        self, batch: Sequence[ReceivedBundle], at_ms: int, outcome: BatchOutcome
    ) -> None:
        """Write bundles; where many at once do not go, halve them until the bad one is alone."""
        if not batch:
            return
        broken: tuple[type[Exception], ...] = (BundleError, *self.database.broken)
        try:
            with self.database.attempt():
                self._put(batch, at_ms, outcome)
        except Exception as fault:
            is_broken = isinstance(fault, broken)
            if not is_broken and isinstance(fault, (HubFullError, *self.database.failing)):
                raise
            if len(batch) == 1:
                bundle = batch[0].bundle
                if is_broken:
                    reason = str(fault).replace("\0", "?")
                    outcome.aside.append(
                        Aside(bundle.node, bundle.number, reason, batch[0].message)
                    )
                else:
                    log.exception("bundle %d of %s cannot be written", bundle.number, bundle.node)
                    outcome.failed.append(batch[0])
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
                if entry.cook is not None and entry.kind not in BESIDE
            }

    def _put(self, batch: Sequence[ReceivedBundle], at_ms: int, outcome: BatchOutcome) -> None:
        many, told = self.database.many, outcome.contradicted
        self._look_for_clones(batch, at_ms)
        keys = sorted({(one.node.id, one.bundle.run) for one in batch})
        known = {tuple(row[1:3]): row for row in self._of_runs("run", records.RUN, keys)}
        rows = [records.run_row(one) for one in batch]
        many(_PUT_RUN, [row for row in rows if known.get(row[1:3]) != row])
        set_anew = self._put_clocks(batch, keys)
        self._put_entries([row for received in batch for row in records.journal_rows(received)],
                          at_ms, told)  # fmt: skip
        many(_MEND_TIMES, set_anew)
        self._put_spans([row for received in batch for row in records.span_rows(received)], at_ms,
                        told)  # fmt: skip
        many(_PUT_LOST, [row for received in batch for row in records.lost_rows(received)])
        many(_PUT_STANDING, [row for one in batch for row in records.standing_row(one, at_ms)])
        newest = {one.node.id: one.bundle.row for one in batch}
        given, values = self.database.given(
            {"node": "integer", "version": "text", "name": "text"},
            [(node, row.version, row.name) for node, row in newest.items()],
        )
        self.database.run(
            f"{given} UPDATE node SET received_ms = ?, version = given.version, name = given.name"
            " FROM given WHERE node.id = given.node", (*values, at_ms),
        )  # fmt: skip

    def _of_runs(
        self, table: str, columns: Sequence[str], keys: Sequence[tuple[int, str]]
    ) -> list[records.Row]:
        """Return the rows that a table has of these runs."""
        given, values = self.database.given({"node": "integer", "run": "text"}, keys)
        return self.database.ask(
            f"{given} SELECT {', '.join(f'{table}.{name}' for name in columns)} FROM {table}"
            f" JOIN given ON {table}.node = given.node AND {table}.run = given.run", values,
        )  # fmt: skip

    def _put_clocks(
        self, batch: Sequence[ReceivedBundle], keys: Sequence[tuple[int, str]]
    ) -> list[tuple[int, str]]:
        """Write the rows of clocks; return the runs whose clock was another before."""
        before: dict[tuple[int, str], set[records.Row]] = {}
        for _, node, run, *row in self._of_runs("clock", records.CLOCK, keys):
            before.setdefault((node, run), set()).add(tuple(row))
        changed, rows = set(), []
        for one in batch:
            given = records.clock_rows(one)
            key = (one.node.id, one.bundle.run)
            if (known := before.get(key)) != (clock := {row[3:] for row in given}):
                rows += given
                before[key] = clock
                if known is not None:
                    changed.add(key)
        self.database.many(_PUT_CLOCK, rows)
        return sorted(changed)

    def _put_entries(self, rows: list[records.Row], at_ms: int, told: set[tuple[int, str]]) -> None:
        for row in rows:
            if not self.database.run(_PUT_JOURNAL, row):
                self._compare_entry(row, at_ms, told)

    def _put_spans(self, rows: list[records.Row], at_ms: int, told: set[tuple[int, str]]) -> None:
        minutes = self.database.minutes
        for row in rows:
            given = (*row[:9], *(minutes(column) for column in row[9:]))
            if not self.database.run(_PUT_SPAN, given):
                self._compare_span(row, at_ms, told)

    def _compare_entry(self, row: records.Row, at_ms: int, told: set[tuple[int, str]]) -> None:
        """Keep apart an entry that contradicts one of the same identity; the first stays."""
        tenant, node, run, seq = row[:4]
        ((kept,),) = self.database.ask(
            "SELECT entry FROM journal WHERE node = ? AND run = ? AND seq = ?", (node, run, seq)
        )
        if kept != row[-1]:
            self._conflict((tenant, node, "entry", f"{run}/{seq}", kept, row[-1]), at_ms, told)

    def _compare_span(self, row: records.Row, at_ms: int, told: set[tuple[int, str]]) -> None:
        tenant, node, run, channel, _, block_ms, rev, _, data = row[:9]
        ((kept_rev, kept),) = self.database.ask(
            "SELECT rev, data FROM span WHERE node = ? AND block_ms = ? AND channel = ?"
            " AND run = ?", (node, block_ms, channel, run),
        )  # fmt: skip
        if kept_rev == rev and contradicts(kept, data):
            what = f"{run}/{channel}/{block_ms}"
            self._conflict((tenant, node, "span", what, kept.hex(), data.hex()), at_ms, told)

    def _conflict(
        self, both: tuple[int, int, str, str, str, str], at_ms: int, told: set[tuple[int, str]]
    ) -> None:
        """Note two records of one identity, and that their node is to hear of it."""
        tenant, node, what, identity, kept, given = both
        told.add((node, identity))
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

    def _look_for_clones(self, batch: Sequence[ReceivedBundle], at_ms: int) -> None:
        """Notice two lives of one key: an older run that goes on after a newer one began."""
        goes_on = [
            (one.node.id, one.bundle.run, one.bundle.row.boot_id, one.bundle.row.start_ms,
             one.bundle.entries[-1].t_ms - CLONE_MARGIN_MS)
            for one in batch if one.bundle.row.end_ms is None and one.bundle.entries
        ]  # fmt: skip
        if not goes_on:
            return
        columns = {"node": "integer", "run": "text", "boot_id": "text", "start_ms": "bigint",
                   "last_ms": "bigint"}  # fmt: skip
        given, values = self.database.given(columns, goes_on)
        twice = self.database.ask(
            f"{given} SELECT DISTINCT given.node FROM given JOIN run ON run.node = given.node"
            " AND run.run <> given.run AND run.boot_id <> given.boot_id"
            " AND run.start_ms > given.start_ms AND run.start_ms < given.last_ms", values,
        )  # fmt: skip
        for (node,) in twice:
            self.database.run("UPDATE node SET cloned_ms = ? WHERE id = ?", (at_ms, node))


def contradicts(kept: bytes, given: bytes) -> bool:
    """Return whether two packed spans of one revision differ by more than thinning.

    A node thins what is old; where it sends that again, the hub has all of it and more.
    """
    if kept == given:
        return False
    try:
        whole, part = (unpack(data) for data in (kept, given))
    except StoreError:
        return True
    known = set(zip(whole.t_ms, whole.value, strict=True))
    return not known.issuperset(zip(part.t_ms, part.value, strict=True))
