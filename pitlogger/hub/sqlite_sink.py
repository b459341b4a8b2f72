"""The hub's database as a SQLite file: for a few to some thirty pits, nothing to install."""

from __future__ import annotations

import json
import sqlite3
import uuid
from collections.abc import Sequence
from pathlib import Path

from pitlogger.errors import BundleError, HubFullError
from pitlogger.hub import records, tables
from pitlogger.hub.receive import Aside, NodeRow, Received
from pitlogger.hub.sink import Outcome
from pitlogger.store.connection import connect_writer

KEPT_OF_REFUSED = 64 * 1024
CLONE_MARGIN_MS = 60_000
_NODE = "SELECT id, uid, tenant, site, name, public_key, state FROM node WHERE uid = ?"


def _insert(table: str, columns: Sequence[str], more: str = "ON CONFLICT DO NOTHING") -> str:
    marks = ", ".join("?" * len(columns))
    return f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks}) {more}"  # noqa: S608


def _newer(key: str, columns: Sequence[str]) -> str:
    """Return the clause by which a row of a higher revision replaces the one that is there."""
    changes = ", ".join(f"{name} = excluded.{name}" for name in columns)
    return f"ON CONFLICT ({key}) DO UPDATE SET {changes} WHERE excluded.rev > rev"


_PUT_JOURNAL = _insert("journal", records.JOURNAL)
_PUT_SPAN = _insert("span", records.SPAN,
                    _newer("node, block_ms, channel, run", records.SPAN[6:]))  # fmt: skip
_PUT_RUN = _insert("run", records.RUN, _newer("node, run", records.RUN[6:]))
_PUT_CLOCK = _insert("clock", records.CLOCK, _newer("node, run, from_ms", records.CLOCK[4:]))
_PUT_LOST = _insert("lost", records.LOST)
_PUT_STANDING = _insert(
    "standing", ("node", "tenant", "at_ms", "received_ms", "alarms", "document"),
    "ON CONFLICT (node) DO UPDATE SET at_ms = excluded.at_ms, received_ms = excluded.received_ms,"
    " alarms = excluded.alarms, document = excluded.document WHERE excluded.at_ms >= at_ms",
)  # fmt: skip


class SqliteSink:
    """Writes to one file. Made if there is none; commits wait for the disk."""

    def __init__(self, path: Path) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        self.connection = connect_writer(path)
        self.connection.execute("PRAGMA busy_timeout=5000")
        if not self.connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]:
            self._create()
        self.hub: str = self.connection.execute("SELECT id FROM hub").fetchone()[0]

    def _create(self) -> None:
        self.connection.execute("BEGIN IMMEDIATE")
        for statement in tables.sqlite_tables():
            self.connection.execute(statement)
        made = (f"h-{uuid.uuid4().hex}", tables.VERSION)
        self.connection.execute("INSERT INTO hub VALUES (?, ?)", made)
        self.connection.execute("COMMIT")

    def close(self) -> None:
        """Close the file."""
        self.connection.close()

    def node_of(self, uid: str) -> NodeRow | None:
        """Return a node by its id, as the database has it now."""
        row = self.connection.execute(_NODE, (uid,)).fetchone()
        return None if row is None else NodeRow(*row)

    def take(self, batch: Sequence[Received], aside: Sequence[Aside], at_ms: int) -> Outcome:
        """Write a batch in one commit; see ``hub/sink.py``."""
        outcome = Outcome(aside=list(aside))
        execute = self.connection.execute
        try:
            execute("BEGIN IMMEDIATE")
            for received in batch:
                execute("SAVEPOINT bundle")
                try:
                    self._put(received, at_ms, outcome)
                except (BundleError, sqlite3.IntegrityError, OverflowError) as fault:
                    execute("ROLLBACK TO bundle")
                    bundle = received.bundle
                    outcome.aside.append(
                        Aside(bundle.node, bundle.number, str(fault), received.message)
                    )
                else:
                    outcome.received.append(received)
                execute("RELEASE bundle")
            for one in outcome.aside:
                execute(
                    "INSERT INTO refused (at_ms, uid, reason, message) VALUES (?, ?, ?, ?)",
                    (at_ms, one.uid[:64], one.reason[:500], one.message[:KEPT_OF_REFUSED]),
                )
            self._note_what_it_has(outcome)
            execute("COMMIT")
        except sqlite3.OperationalError as fault:
            if self.connection.in_transaction:
                execute("ROLLBACK")
            raise HubFullError(f"the hub's database refuses: {fault}") from None
        except BaseException:
            if self.connection.in_transaction:
                execute("ROLLBACK")
            raise
        return outcome

    def _put(self, received: Received, at_ms: int, outcome: Outcome) -> None:
        execute, many = self.connection.execute, self.connection.executemany
        node, bundle = received.node, received.bundle
        journal = records.journal_rows(received)
        spans = [
            (*row[:9], *(json.dumps(minutes) for minutes in row[9:]))
            for row in records.span_rows(received)
        ]
        self._look_for_clone(received, at_ms)
        execute(_PUT_RUN, records.run_row(received))
        many(_PUT_CLOCK, records.clock_rows(received))
        for row in journal:
            if not execute(_PUT_JOURNAL, row).rowcount:
                self._compare_entry(row, at_ms)
        for row in spans:
            if not execute(_PUT_SPAN, row).rowcount:
                self._compare_span(row, at_ms)
        many(_PUT_LOST, records.lost_rows(received))
        if bundle.now is not None:
            now_ms = records.utc_ms(bundle, bundle.now.t_ms)
            execute(_PUT_STANDING, (node.id, node.tenant, now_ms, at_ms, bundle.now.alarms,
                                    bundle.now.text))  # fmt: skip
        execute(
            "UPDATE node SET received_ms = ?, version = ?, name = ? WHERE id = ?",
            (at_ms, bundle.row.version, bundle.row.name, node.id),
        )
        outcome.cooks |= {(node.id, row[9]) for row in journal if row[9] is not None}

    def _compare_entry(self, row: records.Row, at_ms: int) -> None:
        """Keep apart an entry that contradicts one of the same identity; the first stays."""
        tenant, node, run, seq = row[:4]
        kept = self.connection.execute(
            "SELECT entry FROM journal WHERE node = ? AND run = ? AND seq = ?", (node, run, seq)
        ).fetchone()[0]
        if kept != row[-1]:
            self._conflict(tenant, node, at_ms, "entry", f"{run}/{seq}", kept, row[-1])

    def _compare_span(self, row: records.Row, at_ms: int) -> None:
        tenant, node, run, channel, _, block_ms, rev, _, data = row[:9]
        kept_rev, kept = self.connection.execute(
            "SELECT rev, data FROM span WHERE node = ? AND block_ms = ? AND channel = ?"
            " AND run = ?", (node, block_ms, channel, run),
        ).fetchone()  # fmt: skip
        if kept_rev == rev and kept != data:
            what = f"{run}/{channel}/{block_ms}"
            self._conflict(tenant, node, at_ms, "span", what, kept.hex(), data.hex())

    def _conflict(self, *row: object) -> None:
        self.connection.execute(
            "INSERT INTO conflict (tenant, node, at_ms, what, identity, kept, given)"
            " SELECT ?1, ?2, ?3, ?4, ?5, ?6, ?7 WHERE NOT EXISTS (SELECT 1 FROM conflict"
            " WHERE node = ?2 AND what = ?4 AND identity = ?5 AND given = ?7)", row,
        )  # fmt: skip

    def _look_for_clone(self, received: Received, at_ms: int) -> None:
        """Notice two lives of one key: an older run that goes on after a newer one began."""
        bundle = received.bundle
        if bundle.row.end_ms is not None or not bundle.entries:
            return
        last_ms = bundle.entries[-1].t_ms
        newer = self.connection.execute(
            "SELECT 1 FROM run WHERE node = ? AND run <> ? AND boot_id <> ? AND start_ms > ?"
            " AND start_ms < ?",
            (received.node.id, bundle.run, bundle.row.boot_id, bundle.row.start_ms,
             last_ms - CLONE_MARGIN_MS),
        ).fetchone()  # fmt: skip
        if newer is not None:
            self.connection.execute(
                "UPDATE node SET cloned_ms = ? WHERE id = ?", (at_ms, received.node.id)
            )

    def _note_what_it_has(self, outcome: Outcome) -> None:
        for received in outcome.received:
            key = (received.bundle.node, received.bundle.run)
            if key not in outcome.has:
                outcome.has[key] = self.connection.execute(
                    "SELECT coalesce(max(seq), 0) FROM journal WHERE node = ? AND run = ?",
                    (received.node.id, received.bundle.run),
                ).fetchone()[0]
