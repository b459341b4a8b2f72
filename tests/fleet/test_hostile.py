"""Broken, forged, oversized, contradictory bundles among good ones; and who sees which rows."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import cbor2
import psycopg
import pytest

from pitlogger.errors import HubFullError
from pitlogger.formats.bundle import Bundle, dump_bundle
from pitlogger.formats.cose import sign
from pitlogger.hub.database import Row, SqliteDatabase
from pitlogger.hub.ingest import Ingest
from pitlogger.hub.nodes import Nodes
from pitlogger.hub.postgres import PostgresDatabase
from pitlogger.hub.postgres_writing import PostgresSink
from pitlogger.hub.receive import NotEnrolledError, ReceivedBundle
from pitlogger.hub.writing import HubSink
from pitlogger.store.packing import Columns, pack
from pitlogger.uplink.carrier import HubAnswer
from tests.fleet.conftest import Server, taking_in
from tests.fleet.made import START_MS, bundles, enrolled, key_and_uid, make_store, received

KEY, UID = key_and_uid(1)
OTHER_KEY, OTHER_UID = key_and_uid(2)


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Bundle:
    store = make_store(tmp_path_factory.mktemp("node") / "pitlogger.db")
    store.close()
    with store.reader() as reader:
        return next(bundles(reader, UID))


@pytest.fixture(params=["sqlite", "postgres"])
def sink(tmp_path: Path, request: pytest.FixtureRequest, server: Server) -> Iterator[HubSink]:
    made = (
        PostgresSink(server.new_database())
        if request.param == "postgres"
        else HubSink(SqliteDatabase(tmp_path / "hub.db"))
    )
    enrolled(made, KEY, UID)
    enrolled(made, OTHER_KEY, OTHER_UID)
    yield made
    made.database.close()


@pytest.fixture
async def ingest(sink: HubSink) -> AsyncIterator[Ingest]:
    async with taking_in(sink, gather_s=0.02) as made:
        yield made


def with_entry(good: Bundle, **changes: object) -> Bundle:
    first = replace(good.entries[0], **changes)  # type: ignore[arg-type]
    return replace(good, entries=(first,), spans=())


def changed_map(good: Bundle, **changes: object) -> bytes:
    return cbor2.dumps({**cbor2.loads(dump_bundle(good)), **changes})


def own(payload: bytes) -> bytes:
    return sign(payload, KEY, UID)


BAD: dict[str, Callable[[Bundle], bytes]] = {
    "nothing": lambda good: b"",
    "noise": lambda good: bytes(range(256)) * 3,
    "cut short": lambda good: own(dump_bundle(good))[:-20],
    "one bit": lambda good: own(dump_bundle(good))[:-1] + b"\x00",
    "another's signature": lambda good: sign(dump_bundle(good), OTHER_KEY, UID),
    "in another's name": lambda good: own(dump_bundle(replace(good, node=OTHER_UID))),
    "signed for another": lambda good: sign(dump_bundle(good), KEY, OTHER_UID),
    "another version": lambda good: own(changed_map(good, v=0)),
    "no run": lambda good: own(changed_map(good, run=None)),
    "a number as text": lambda good: own(changed_map(good, n="7")),
    "rows of another length": lambda good: own(changed_map(good, j=[[1, 2]])),
    "too long": lambda good: own(dump_bundle(with_entry(good, text="x" * 300_000))),
    "text that is no entry": lambda good: own(dump_bundle(with_entry(good, text="{}"))),
    "text of another entry": lambda good: own(dump_bundle(with_entry(good, seq=99))),
    "a span without readings": lambda good: own(
        dump_bundle(replace(good, spans=(replace(good.spans[0], readings=0),)))
    ),
    "a span of another count": lambda good: own(
        dump_bundle(replace(good, spans=(replace(good.spans[0], readings=601),)))
    ),
    "a count beyond the column": lambda good: own(
        dump_bundle(replace(good, row=replace(good.row, rev=1 << 61)))
    ),
    "a zero byte in a name": lambda good: own(changed_map(good, run="a\0b")),
    "deep nesting": lambda good: own(b"\x81" * 5000 + b"\x00"),
    "signed for a zero byte": lambda good: sign(dump_bundle(good), KEY, "p-\0"),
    "of a node named by a zero byte": lambda good: own(changed_map(good, node="p-\0")),
}


def alert_saying(good: Bundle, kind: str) -> bytes:
    """Return a bundle with an alert whose text holds what no column can."""
    first = good.entries[0]
    said = {**json.loads(first.text), "kind": "alert-changed", "alert_kind": kind, "now": "x"}
    entry = replace(first, kind="alert-changed", text=json.dumps(said))
    return own(dump_bundle(replace(good, number=7, spans=(), entries=(entry,))))


@pytest.mark.parametrize("kind", ["\ud800", "a\0b"])
@pytest.mark.parametrize("uid", ["p-\0", "p-\udcff", "", UID])
async def test_nothing_in_a_name_holds_up_the_bundles_beside_it(
    good: Bundle, sink: HubSink, ingest: Ingest, kind: str, uid: str
) -> None:
    """Of strangers too: an address is not signed."""
    strange, whole = await asyncio.gather(
        ingest.submit(uid, alert_saying(good, kind)),
        ingest.submit(OTHER_UID, sign(dump_bundle(replace(good, node=OTHER_UID)), OTHER_KEY,
                                      OTHER_UID)),
        return_exceptions=True,
    )  # fmt: skip
    assert not isinstance(whole, BaseException)
    assert whole.received == (good.number,)
    assert isinstance(strange, NotEnrolledError) == (uid != UID)


async def test_a_fault_nobody_thought_of_holds_up_one_bundle_alone(
    good: Bundle, sink: HubSink, ingest: Ingest, monkeypatch: pytest.MonkeyPatch
) -> None:
    def looks(batch: Sequence[ReceivedBundle], at_ms: int) -> None:
        if any(received.bundle.number == 13 for received in batch):
            raise ZeroDivisionError

    monkeypatch.setattr(sink, "_look_for_clones", looks)
    sent = [own(dump_bundle(replace(good, number=number))) for number in range(10, 16)]
    answers = await asyncio.gather(
        *(ingest.submit(UID, message) for message in sent), return_exceptions=True
    )
    assert isinstance(answers[3], HubFullError), "neither taken nor set aside: it comes again"
    for answer in (*answers[:3], *answers[4:]):
        assert isinstance(answer, HubAnswer)
        assert answer.received
    assert sink.database.ask("SELECT count(*) FROM refused") == [(0,)]


def test_the_first_of_two_spans_in_one_batch_stays(good: Bundle, sink: HubSink) -> None:
    span = replace(good.spans[0], data=pack(Columns([START_MS], [1], [0], b"\0")), readings=1)
    both = [good, replace(good, number=2, spans=(span,), entries=())]
    batch = received(sink, UID, [own(dump_bundle(one)) for one in both])
    outcome = sink.take(batch, [], 5)
    assert len(outcome.contradicted) == 1
    kept = sink.database.ask(
        "SELECT data FROM span WHERE block_ms = ? AND channel = ?", (span.block_ms, span.channel)
    )
    assert [bytes(data) for (data,) in kept] == [good.spans[0].data]


async def test_the_good_are_received_and_the_bad_set_aside_with_a_reason(
    good: Bundle, sink: HubSink, ingest: Ingest
) -> None:
    whole = own(dump_bundle(good))
    sent = [(name, make(good)) for name, make in BAD.items()]
    answers = await asyncio.gather(
        *(ingest.submit(UID, message) for _, message in sent),
        *(ingest.submit(UID, whole) for _ in range(5)),
    )
    for (name, _), answer in zip(sent, answers, strict=False):
        assert answer.refused, name
        assert answer.refused[0][1], name
    assert all(answer.received == (good.number,) for answer in answers[len(sent) :])
    assert sink.database.ask("SELECT count(*) FROM refused") == [(len(BAD),)]
    assert sink.database.ask("SELECT count(*) FROM journal") == [(len(good.entries),)]
    assert sink.database.ask("SELECT count(*) FROM run") == [(1,)]


def test_a_copied_card_is_noticed_and_what_does_not_contradict_is_taken(
    good: Bundle, sink: HubSink
) -> None:
    day_ms = 86_400_000
    good = replace(good, row=replace(good.row, end_ms=None))  # it goes on
    newer = replace(
        good, run="b2cd-22222222", entries=(), spans=(),
        row=replace(good.row, boot_id="boot-2", start_ms=START_MS + day_ms),
    )  # fmt: skip
    late = good.entries[-1]
    text = json.dumps({**json.loads(late.text), "seq": 8, "t_ms": START_MS + 2 * day_ms})
    going_on = replace(
        good, spans=(), entries=(replace(late, seq=8, t_ms=START_MS + 2 * day_ms, text=text),)
    )
    for number, bundle in enumerate((good, newer, going_on)):
        outcome = sink.take(received(sink, UID, [own(dump_bundle(bundle))]), [], number)
        assert outcome.received
    assert sink.database.ask("SELECT cloned_ms FROM node WHERE uid = ?", (UID,)) == [(2,)]
    assert sink.database.ask("SELECT cloned_ms FROM node WHERE uid = ?", (OTHER_UID,)) == [(None,)]


def test_a_reader_sees_its_own_firm_alone(server: Server, good: Bundle) -> None:
    database = server.new_database()
    sink = PostgresSink(database)
    public = OTHER_KEY.public_key().public_bytes_raw()
    Nodes(sink.database).enrol(OTHER_UID, public, "van", "Another Firm", "yard", 1, "test")
    enrolled(sink, KEY, UID)
    sink.take(received(sink, UID, [own(dump_bundle(good))]), [], 1)
    with pytest.raises(psycopg.Error, match=r"fleet\."):
        as_reader(database, "SELECT count(*) FROM journal")
    seen = {}
    for tenant in (1, 2):
        with database.seen_by(tenant, "owner", ""):
            seen[tenant] = [
                database.ask(f"SELECT count(*) FROM {table}")[0][0]
                for table in ("node", "journal", "span", "run")
            ]
    assert seen[1] == [1, 0, 0, 0]
    assert seen[2][0] == 1
    assert all(seen[2])
    with pytest.raises(psycopg.errors.InsufficientPrivilege):
        as_reader(database, "UPDATE node SET state = 'retired' RETURNING 1")
    database.close()


def as_reader(database: PostgresDatabase, statement: str) -> list[Row]:
    """Ask as whoever only reads."""
    with database.transaction():
        database.run("SET LOCAL ROLE fleet_reader")
        return database.ask(statement)
