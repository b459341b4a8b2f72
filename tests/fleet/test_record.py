"""What a node's record holds is in the hub's, to the byte: doubled, shuffled, rewritten."""

from __future__ import annotations

import json
import random
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from pitlogger.formats.bundle import MOST_BYTES, dump_bundle
from pitlogger.formats.cose import sign
from pitlogger.hub.database import Row, SqliteDatabase
from pitlogger.hub.fold import fold_cooks
from pitlogger.hub.postgres_writing import PostgresSink
from pitlogger.hub.writing import HubSink
from pitlogger.model.journal import Entry, Noted
from pitlogger.store import JournalRow, Reader, Store
from pitlogger.store.packing import unpack
from pitlogger.uplink.contents import next_bundle
from pitlogger.uplink.position import Position
from tests.fleet.conftest import Server
from tests.fleet.made import (
    START_MS,
    WAIT_S,
    bundles,
    enrolled,
    key_and_uid,
    make_store,
    messages,
    readings,
    received,
)

KEY, UID = key_and_uid(1)


@pytest.fixture(params=["sqlite", "postgres"])
def sink(tmp_path: Path, request: pytest.FixtureRequest, server: Server) -> Iterator[HubSink]:
    made = HubSink(SqliteDatabase(tmp_path / "hub.db"))
    if request.param == "postgres":
        made.database.close()
        made = PostgresSink(server.new_database())
    enrolled(made, KEY, UID)
    yield made
    made.database.close()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    made = make_store(tmp_path / "pitlogger.db")
    yield made
    made.close()


def in_hub(sink: HubSink) -> tuple[list[Row], list[Row]]:
    journal = sink.database.ask("SELECT run, seq, entry FROM journal ORDER BY 1, 2")
    spans = sink.database.ask("SELECT run, channel, block_ms, data FROM span ORDER BY 1, 2, 3")
    return journal, spans


def in_node(path: Path) -> tuple[list[Row], list[Row]]:
    with closing(sqlite3.connect(path)) as file:
        journal = file.execute(
            "SELECT run.run, seq, entry FROM journal JOIN run ON run.id = journal.run ORDER BY 1, 2"
        ).fetchall()
        spans = file.execute(
            "SELECT run.run, name, block_ms, data FROM packed"
            " JOIN channel ON channel.id = packed.channel JOIN run ON run.id = channel.run"
            " ORDER BY 1, 2, 3"
        ).fetchall()
    return journal, spans


def test_all_of_it_arrives_to_the_byte_though_doubled_and_shuffled(
    store: Store, sink: HubSink, tmp_path: Path
) -> None:
    store.close()
    with store.reader() as reader:
        sent = messages(reader, KEY, UID) * 2
    random.Random(7).shuffle(sent)
    for message in sent:
        outcome = sink.take(received(sink, UID, [message]), [], 5)
        assert not outcome.aside
    assert in_hub(sink) == in_node(tmp_path / "pitlogger.db")
    assert not sink.database.ask("SELECT * FROM conflict")
    n = sink.database.ask("SELECT n FROM span ORDER BY block_ms")[0][0]
    assert n in ([60] * 10, json.dumps([60] * 10))


def test_no_bundle_is_longer_than_a_hub_takes(store: Store, sink: HubSink) -> None:
    run = store.run.run
    rows = [
        JournalRow.of(Entry(run, seq, START_MS + seq, Noted("x" * 50_000))) for seq in range(50, 70)
    ]
    store.append(rows).result(WAIT_S)
    with store.reader() as reader:
        made = list(bundles(reader, UID))
    assert len(made) > 4
    assert max(len(dump_bundle(bundle)) for bundle in made) <= MOST_BYTES
    seqs = [entry.seq for bundle in made for entry in bundle.entries]
    assert seqs == [*range(1, 8), *range(50, 70)]


def test_late_readings_rewrite_a_span_and_an_older_one_does_not_come_back(
    store: Store, sink: HubSink
) -> None:
    with store.reader() as reader:
        before = messages(reader, KEY, UID)
        after = next(reversed(list(_positions(reader))))
    sink.take(received(sink, UID, before), [], 5)
    late = [one._replace(t_ms=one.t_ms + 500) for one in readings("probe-0", 5)]
    store.add_readings([*late, *readings("probe-0", 400, from_s=1500)])  # its block ends
    store.flush().result(WAIT_S)
    with store.reader() as reader:
        again = list(bundles(reader, UID, after))
    spans = [span for bundle in again for span in bundle.spans if span.block_ms == START_MS]
    assert [(span.channel, span.rev > 0) for span in spans] == [("probe-0", True)]
    sink.take(received(sink, UID, [sign(dump_bundle(one), KEY, UID) for one in again]), [], 6)
    sink.take(received(sink, UID, before), [], 7)
    data, rev = sink.database.ask(
        "SELECT data, rev FROM span WHERE channel = 'probe-0' AND block_ms = ?", (START_MS,)
    )[0]
    assert rev == spans[-1].rev
    assert START_MS + 500 in unpack(data).t_ms
    assert not sink.database.ask("SELECT * FROM conflict")


def _positions(reader: Reader) -> Iterator[Position]:
    at = Position()
    while (found := next_bundle(reader, UID, 1, at)) is not None:
        at = found.after
        yield at


def test_the_first_of_two_that_contradict_stays_and_both_are_on_record(
    store: Store, sink: HubSink
) -> None:
    with store.reader() as reader:
        (first, *_) = list(bundles(reader, UID))
    sink.take(received(sink, UID, [sign(dump_bundle(first), KEY, UID)]), [], 5)
    text = first.entries[3].text.replace("oak", "ash")
    forged = replace(first, entries=(replace(first.entries[3], text=text),), spans=())
    outcome = sink.take(received(sink, UID, [sign(dump_bundle(forged), KEY, UID)]), [], 6)
    assert len(outcome.received) == 1
    kept = sink.database.ask("SELECT entry FROM journal WHERE seq = 4")[0][0]
    assert "oak" in kept
    row = sink.database.ask("SELECT what, kept, given FROM conflict")[0]
    assert row == ("entry", kept, text)


def test_a_cook_is_folded_as_its_node_has_it(store: Store, sink: HubSink) -> None:
    with store.reader() as reader:
        outcome = sink.take(received(sink, UID, messages(reader, KEY, UID)), [], 5)
    fold_cooks(sink.database, outcome)
    piece = sink.database.ask("SELECT piece, cut, purchased_mg, servable_mg FROM piece")
    assert piece == [("brisket-1", "brisket-packer", 6_300_000, 3_150_000)]


def test_a_note_is_no_reason_to_fold_a_cook_anew(store: Store, sink: HubSink) -> None:
    with store.reader() as reader:
        everything = received(sink, UID, messages(reader, KEY, UID))
    noted = [
        replace(one, bundle=replace(one.bundle, spans=(), entries=tuple(
            entry for entry in one.bundle.entries if entry.kind == "noted"
        )))
        for one in everything
    ]  # fmt: skip
    assert any(one.bundle.entries for one in noted)
    assert sink.take(noted, [], 5).cooks == set()
    outcome = sink.take(everything, [], 6)
    assert len(outcome.cooks) == 1
    fold_cooks(sink.database, outcome)
    fold_cooks(sink.database, outcome)
    assert sink.database.ask("SELECT count(*) FROM cook") == [(1,)], "twice is once"
    assert sink.database.ask("SELECT count(*) FROM piece") == [(1,)]
