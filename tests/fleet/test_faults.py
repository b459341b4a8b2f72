"""Faults between a node and its hub: after each, what is found is what was sent."""

from __future__ import annotations

import asyncio
import datetime
import random
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from cryptography import x509

from pitlogger.errors import HubFullError
from pitlogger.formats.bundle import dump_bundle
from pitlogger.formats.cose import sign
from pitlogger.hub.authority import hub_identity
from pitlogger.hub.certificates import certifier, certify
from pitlogger.hub.database import SqliteDatabase
from pitlogger.hub.nodes import Nodes
from pitlogger.hub.opening import open_sink
from pitlogger.hub.postgres import PostgresDatabase
from pitlogger.hub.postgres_writing import PostgresSink
from pitlogger.hub.tables import VERSION, postgres_tables, sqlite_tables
from pitlogger.hub.writing import HubSink
from tests.fleet.conftest import Server
from tests.fleet.made import bundles, enrolled, key_and_uid, make_store, messages, received

KEY, UID = key_and_uid(1)
YEAR_MS = 366 * 86_400_000


def make_sink(kind: str, server: Server, tmp_path: Path) -> HubSink:
    if kind == "sqlite":
        return HubSink(SqliteDatabase(tmp_path / "hub.db"))
    return PostgresSink(server.new_database())


@pytest.mark.parametrize("kind", ["sqlite", "postgres"])
def test_a_node_whose_clock_is_a_year_off_is_kept_as_it_says(
    kind: str, server: Server, tmp_path: Path
) -> None:
    sink = make_sink(kind, server, tmp_path)
    enrolled(sink, KEY, UID)
    store = make_store(tmp_path / "pitlogger.db")
    store.close()
    with store.reader() as reader:
        (first, *_) = bundles(reader, UID)
    for years in (-1, 1, -60, 900):  # the last two lie outside every month of a sane clock
        spans = tuple(
            replace(span, block_ms=span.block_ms + years * YEAR_MS) for span in first.spans
        )
        one = replace(first, spans=spans, entries=())
        outcome = sink.take(received(sink, UID, [sign(dump_bundle(one), KEY, UID)]), [], 5)
        assert outcome.received, outcome.aside
    ((found,),) = sink.database.ask("SELECT count(*) FROM span")
    assert found == 4 * len(first.spans)
    sink.database.close()


def test_a_bundle_that_does_not_fit_takes_no_month_from_the_good_ones(
    server: Server, tmp_path: Path
) -> None:
    """The part of a new month is made before the batch, so that undoing a bad one keeps it."""
    sink = make_sink("postgres", server, tmp_path)
    enrolled(sink, KEY, UID)
    store = make_store(tmp_path / "pitlogger.db")
    store.close()
    with store.reader() as reader:
        (good, *_) = bundles(reader, UID)
    span = replace(good.spans[0], readings=good.spans[0].readings + 1)
    bad = replace(good, number=99, spans=(span,))
    both = received(sink, UID, [sign(dump_bundle(one), KEY, UID) for one in (bad, good)])
    outcome = sink.take(both, [], 5)
    assert [one.bundle.number for one in outcome.received] == [good.number]
    assert [one.number for one in outcome.aside] == [99]
    sink.database.close()


def test_a_database_that_went_away_is_reached_again_and_holds_no_half_batch(
    server: Server, tmp_path: Path
) -> None:
    sink = make_sink("postgres", server, tmp_path)
    assert isinstance(sink.database, PostgresDatabase)
    enrolled(sink, KEY, UID)
    store = make_store(tmp_path / "pitlogger.db")
    store.close()
    with store.reader() as reader:
        sent = messages(reader, KEY, UID)
    for _ in range(5):
        batch = received(sink, UID, sent)
        other = PostgresDatabase(server.address(sink.database.connection.info.dbname))
        backend = sink.database.connection.info.backend_pid
        other.ask("SELECT pg_terminate_backend(?)", (backend,))
        with pytest.raises(HubFullError):
            sink.take(batch, [], 5)
        assert other.ask("SELECT count(*) FROM journal") == [(0,)]
        other.close()
        assert sink.node_of(UID) is not None, "the connection is made anew"
    assert len(sink.take(received(sink, UID, sent), [], 6).received) == len(sent)
    sink.database.close()


async def test_two_ingesters_with_the_same_bundles_keep_each_once(
    server: Server, tmp_path: Path
) -> None:
    first = make_sink("postgres", server, tmp_path)
    assert isinstance(first.database, PostgresDatabase)
    second = PostgresSink(PostgresDatabase(server.address(first.database.connection.info.dbname)))
    enrolled(first, KEY, UID)
    store = make_store(tmp_path / "pitlogger.db", channels=3, seconds=4000)
    store.close()
    with store.reader() as reader:
        sent = messages(reader, KEY, UID)
    rng = random.Random(5)

    def work(sink: HubSink) -> None:
        order = rng.sample(sent, len(sent))
        for one in order:
            for _ in range(20):
                try:
                    sink.take(received(sink, UID, [one]), [], 5)
                    break
                except HubFullError:
                    continue  # two locked each other: one of them is told to come again

    await asyncio.gather(*(asyncio.to_thread(work, sink) for sink in (first, second)))
    ((entries,),) = first.database.ask("SELECT count(*) FROM journal")
    ((readings,),) = first.database.ask("SELECT sum(readings) FROM span")
    with closing(sqlite3.connect(tmp_path / "pitlogger.db")) as file:
        assert file.execute("SELECT count(*) FROM journal").fetchone() == (entries,)
        assert file.execute("SELECT sum(readings) FROM packed").fetchone() == (int(readings),)
    assert first.database.ask("SELECT count(*) FROM conflict") == [(0,)]
    for sink in (first, second):
        sink.database.close()


@pytest.mark.parametrize("kind", ["sqlite", "postgres"])
def test_tables_of_the_first_version_are_brought_up_with_what_is_in_them(
    kind: str, server: Server, tmp_path: Path
) -> None:
    if kind == "sqlite":
        address = str(tmp_path / "hub.db")
        with closing(sqlite3.connect(address)) as file:
            for statement in sqlite_tables():
                file.execute(statement)
            file.execute("INSERT INTO tenant (name) VALUES ('Meadow Catering')")
            file.commit()
    else:
        made = server.new_database()
        address = server.address(made.connection.info.dbname)
        made.connection.execute("DROP SCHEMA fleet CASCADE")
        made.connection.execute("CREATE SCHEMA fleet")
        for statement in postgres_tables():
            made.run(statement)
        made.run("INSERT INTO tenant (name) VALUES ('Meadow Catering')")
        made.run("INSERT INTO site (tenant, name) VALUES (1, 'yard')")
        made.run("INSERT INTO node (id, uid, tenant, site, name, public_key, state, enrolled_ms)"
                 " VALUES (9, 'p-old', 1, 1, 'old', '', 'enrolled', 1)")  # fmt: skip
        made.run("CREATE TABLE span_old PARTITION OF span FOR VALUES FROM (0) TO (600001)")
        made.run(
            "INSERT INTO span VALUES (1, 9, 'r', 'probe', NULL, 600000, 0, 1, 'x',"
            " '{1,NULL}', '{70123,NULL}', '{3000000000,5}', '{-3000000000,NULL}')"
        )
        made.close()
    for _ in range(2):
        sink = open_sink(address, create=True)
        assert sink.database.ask("SELECT version FROM hub") == [(VERSION,)]
        assert sink.database.ask("SELECT name FROM tenant WHERE id = 1") == [("Meadow Catering",)]
        enrolled(sink, KEY, UID)
        if kind == "postgres":
            assert sink.database.ask("SELECT n, mean, low, high FROM span") == [
                ([1, None], [70123, None], [None, 5], [None, None])
            ]
        sink.database.close()


def test_a_certificate_is_renewed_in_its_last_month_for_the_same_key(tmp_path: Path) -> None:
    sink = HubSink(SqliteDatabase(tmp_path / "hub.db"))
    enrolled(sink, KEY, UID)
    begun = datetime.datetime(2026, 3, 1, tzinfo=datetime.UTC)
    identity = hub_identity(tmp_path, begun)
    node = sink.node_of(UID)
    assert node is not None
    held = x509.load_pem_x509_certificate(certify(sink.database, tmp_path, node, begun).encode())
    held.verify_directly_issued_by(x509.load_pem_x509_certificate(identity.authority))
    assert held.subject.rfc4514_string() == f"CN={UID}"
    assert (held.not_valid_after_utc - begun).days == 90

    def offered(days: int) -> str | None:
        row = sink.node_of(UID)
        assert row is not None
        return certifier(sink.database, tmp_path, lambda: begun + days * datetime.timedelta(1))(row)

    assert offered(59) is None
    renewed = offered(61)
    assert renewed is not None
    again = x509.load_pem_x509_certificate(renewed.encode())
    assert again.public_key() == held.public_key()
    assert offered(62) is None
    sink.database.close()


def test_a_node_that_moved_to_another_site_keeps_its_records(tmp_path: Path) -> None:
    sink = HubSink(SqliteDatabase(tmp_path / "hub.db"))
    enrolled(sink, KEY, UID, "yard")
    store = make_store(tmp_path / "pitlogger.db")
    store.close()
    with store.reader() as reader:
        sent = messages(reader, KEY, UID)
    sink.take(received(sink, UID, sent), [], 5)
    before = sink.database.ask("SELECT tenant, run, seq, entry FROM journal ORDER BY seq")
    Nodes(sink.database).enrol(
        UID, KEY.public_key().public_bytes_raw(), "renamed", "own", "fair", 6, "test"
    )
    sink.take(received(sink, UID, sent), [], 7)
    assert sink.database.ask("SELECT tenant, run, seq, entry FROM journal ORDER BY seq") == before
    sink.database.close()
