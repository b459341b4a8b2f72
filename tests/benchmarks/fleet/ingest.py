"""What it costs to take bundles in, in processor time of client and server, beside a raw COPY."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from pitlogger.hub import records, tables
from pitlogger.hub.ingest import MOST_AT_ONCE, collect_rarely
from pitlogger.hub.opening import open_sink
from pitlogger.hub.postgres import PostgresDatabase
from pitlogger.hub.receive import receive
from pitlogger.hub.writing import HubSink
from tests.benchmarks.row import Row
from tools.fleet.pits import enrol, make_pits, simulated_cook
from tools.fleet.servers import Postgres

PITS, HOURS = 120, 2.0
_TICK_S = 1 / os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True, slots=True)
class Cost:
    """Rows and the processor seconds they took."""

    rows: int
    cpu_s: float

    @property
    def rate(self) -> float:
        return self.rows / self.cpu_s


def cpu_s(pid: int) -> float:
    """Return processor time of another process, s."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) * _TICK_S


def of_both(database: PostgresDatabase, work: Callable[[], int]) -> Cost:
    """Return what work costs this process and its backend."""
    backend = database.connection.info.backend_pid
    before = time.process_time() + cpu_s(backend)
    rows = work()
    return Cost(rows, time.process_time() + cpu_s(backend) - before)


def rows(server: Postgres) -> Iterator[Row]:
    """Measure."""
    server.run("createdb", "ingest")
    sink = open_sink(server.address("ingest"), create=True)
    database = sink.database
    assert isinstance(database, PostgresDatabase)
    pits = make_pits(PITS, 3)
    enrol(sink, "bench", pits)
    cook = simulated_cook(HOURS)
    messages = [(pit.uid, pit.tells(bundle, number))
                for number, bundle in enumerate(cook, 1) for pit in pits]  # fmt: skip
    parsed = [receive(uid, message, sink.node_of) for uid, message in messages]
    made = {
        "journal": [row for one in parsed for row in records.journal_rows(one)],
        "span": [
            (*row[:9], *map(list, row[9:])) for one in parsed for row in records.span_rows(one)
        ],  # as the driver takes them
    }
    raw = of_both(database, lambda: copied(database, made))
    made.clear()
    parsed.clear()
    collect_rarely()  # freezes the messages too, which an ingester would not hold
    taken = of_both(database, lambda: took(sink, messages))
    again = of_both(database, lambda: took(sink, messages))
    yield Row("fleet-ingest-raw", raw.rate, "rows/CPU-s")
    yield Row("fleet-ingest", taken.rate, "rows/CPU-s", "raw COPY", taken.rate / raw.rate)
    yield Row("fleet-ingest-again", again.rate, "rows/CPU-s", "raw COPY", again.rate / raw.rate)
    ((size, readings),) = database.ask(
        "SELECT (SELECT sum(pg_total_relation_size(oid)) FROM pg_class WHERE relnamespace ="
        " 'fleet'::regnamespace AND relkind = 'r' AND relname NOT LIKE 'raw%'),"
        " (SELECT sum(readings) FROM span)"
    )
    yield Row("fleet-disk", float(size) / float(readings), "bytes/reading")
    database.close()


def copied(database: PostgresDatabase, made: dict[str, list[records.Row]]) -> int:
    """Copy rows into plain tables without a key: the yardstick."""
    columns = {"journal": records.JOURNAL, "span": records.SPAN}
    for table, given in made.items():
        database.run(f"CREATE TABLE raw_{table} (LIKE {table})")
        with (
            database.connection.cursor() as cursor,
            cursor.copy(
                f"COPY raw_{table} ({', '.join(columns[table])}) FROM STDIN (FORMAT BINARY)"
            ) as copy,
        ):
            copy.set_types(tables.POSTGRES_TYPES[table])
            for row in given:
                copy.write_row(row)
    return sum(map(len, made.values()))


def took(sink: HubSink, messages: Sequence[tuple[str, bytes]]) -> int:
    """Verify and take messages a batch at a time, as an ingester does."""
    found = 0
    for at in range(0, len(messages), MOST_AT_ONCE):
        some = messages[at : at + MOST_AT_ONCE]
        nodes = sink.nodes_of(uid for uid, _ in some)
        batch = [receive(uid, message, nodes.get) for uid, message in some]
        outcome = sink.take(batch, [], 5)
        assert len(outcome.received) == len(batch)
        found += sum(len(one.bundle) for one in batch)
    return found
