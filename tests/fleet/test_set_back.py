"""Both sides set back, copied or mistaken: what was confirmed and is gone comes again."""

from __future__ import annotations

import json
import random
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from pitlogger.formats.bundle import ClockPart, NowPart, dump_bundle
from pitlogger.formats.cose import sign
from pitlogger.hub.database import SqliteDatabase
from pitlogger.hub.ingest import Ingest
from pitlogger.hub.questions import exceptions, nodes, standing
from pitlogger.hub.writing import HubSink
from pitlogger.model.journal import Entry, Noted
from pitlogger.store import JournalRow, RunRow, Store
from pitlogger.store.packing import Columns, pack, unpack
from pitlogger.store.retention import thinned
from pitlogger.uplink.carrier import COPIED, CarrierEvent, HubAnswer
from tests.fleet.made import (
    START_MS,
    WAIT_S,
    bundles,
    enrolled,
    key_and_uid,
    readings,
    received,
)
from tests.fleet.test_record import in_hub, in_node
from tests.fleet.test_uplink import FlakyLink, Side

KEY, UID = key_and_uid(1)
NOTHING = '{"pieces":[],"pits":[],"alerts":[]}'


def side_of(store: Store, folder: Path, ingest: Ingest) -> Side:
    return Side(store, folder, FlakyLink(ingest, random.Random(5), 0.0))


async def minutes(side: Side, number: int) -> None:
    for _ in range(number):
        await side.turn(60)


@pytest.mark.parametrize("what", ["span", "journal", "lost"])
async def test_what_a_restored_hub_lacks_is_sent_again_though_nothing_else_tells(
    store: Store, ingest: Ingest, tmp_path: Path, what: str
) -> None:
    """Of spans alone the journal shows nothing; a later bundle may have hidden a hole in it."""
    database = ingest.sink.database
    side = side_of(store, tmp_path, ingest)
    await side.until_all_is_there(ingest.sink, tmp_path / "pitlogger.db")
    await minutes(side, 3)
    if what == "lost":
        side.begin()  # the node was begun anew and remembers only what it saved
    condition = "block_ms > ?" if what != "journal" else "seq BETWEEN 3 AND 5 AND ? > 0"
    database.run(f"DELETE FROM {'journal' if what == 'journal' else 'span'} WHERE {condition}",
                 (START_MS,))  # fmt: skip
    database.life = "another"
    await minutes(side, 15)
    assert in_hub(ingest.sink) == in_node(tmp_path / "pitlogger.db")


async def test_a_hub_that_has_all_is_not_sent_it_again(
    store: Store, ingest: Ingest, tmp_path: Path
) -> None:
    side = side_of(store, tmp_path, ingest)
    await side.until_all_is_there(ingest.sink, tmp_path / "pitlogger.db")
    await minutes(side, 5)
    before = side.link.sends
    ingest.sink.database.life = "another"
    await minutes(side, 10)
    assert side.link.sends - before <= 11, "one a minute, how things stand"


async def test_two_nodes_with_one_key_hear_it_from_the_hub_until_a_day_is_over(
    store: Store, ingest: Ingest, tmp_path: Path
) -> None:
    side = side_of(store, tmp_path, ingest)
    await side.until_all_is_there(ingest.sink, tmp_path / "pitlogger.db")
    now_ms, database = ingest._wall_ms(), ingest.sink.database
    database.run("UPDATE node SET cloned_ms = ? WHERE uid = ?", (now_ms - 1000, UID))
    await minutes(side, 3)
    assert side.reports == [COPIED]
    assert "move the copy's record folder away" in (side.uplink.status("h").fault or "")
    (health,) = nodes(database, 1)
    assert "two cards used one key on " in health.odd
    database.run("UPDATE node SET cloned_ms = ? WHERE uid = ?", (now_ms - 90_000_000, UID))
    await minutes(side, 3)
    assert side.reports == [COPIED, None]
    assert side.uplink.status("h").fault is None


def another_run(path: Path, run: str, from_s: int) -> Store:
    """Open the record for another life of the node."""
    row = RunRow(run, "trailer", run, START_MS + from_s * 1000, 5_000, "0.2.0")
    made = Store.open(path, row)
    made.flush().result(WAIT_S)  # its own row is written beside
    return made


def more_of(store: Store, from_s: int, entries: int) -> None:
    """Put readings and entries into a record, and close it."""
    run = store.run.run
    store.describe("probe-9", "temperature")
    store.add_readings(readings("probe-9", 3000, from_s=from_s))
    store.append([
        JournalRow.of(Entry(run, seq, START_MS + from_s * 1000 + seq, Noted(f"{seq}")))
        for seq in range(1, entries + 1)
    ]).result(WAIT_S)  # fmt: skip
    store.close()


def set_back(path: Path) -> None:
    """Put the older backup in place of the record."""
    for file in path.parent.glob("pitlogger.db*"):
        file.unlink()
    shutil.copy(path.with_name("backup.db"), path)


async def test_a_node_restored_from_an_older_backup_sends_what_gets_old_numbers_anew(
    store: Store, ingest: Ingest, tmp_path: Path
) -> None:
    path = tmp_path / "pitlogger.db"
    shutil.copy(path, tmp_path / "backup.db")
    later = another_run(path, "a2bc-later222", 10_000)
    more_of(later, 10_000, 8)
    side = side_of(later, tmp_path, ingest)
    await side.until_all_is_there(ingest.sink, path)
    await minutes(side, 3)
    set_back(path)
    other = another_run(path, "c3de-other333", 20_000)
    side = side_of(other, tmp_path, ingest)
    await minutes(side, 1)
    more_of(other, 20_000, 6)
    for _ in range(20):
        await side.turn(601)
        side.uplink.flush.entered("weighed", side.clock.engine_ms())
    journal, spans = in_hub(ingest.sink)
    own_journal, own_spans = in_node(path)
    assert set(own_journal) <= set(journal)
    assert set(own_spans) <= set(spans)
    assert len({row[0] for row in journal}) == 3, "what was sent before the restore stays"


async def test_a_late_receipt_of_an_earlier_life_confirms_nothing(
    store: Store, ingest: Ingest, tmp_path: Path
) -> None:
    link = FlakyLink(ingest, random.Random(5), 0.0)
    side = Side(store, tmp_path, link)
    link.down = True
    await side.turn(1)
    early = list(side.uplink.window.outstanding)
    side.begin()
    await side.turn(1)
    for number in early:
        link.report(CarrierEvent(HubAnswer("", received=(number,))))
    await side.turn(1)
    assert side.uplink.progress.received.span == 0
    assert not side.uplink.progress.received.journal


async def test_a_hub_that_is_older_than_a_node_lets_it_wait_and_loses_nothing(
    store: Store, ingest: Ingest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    side = side_of(store, tmp_path, ingest)
    side.link.down = True
    with monkeypatch.context() as newer:
        newer.setattr("pitlogger.formats.bundle.VERSION", 2)
        await side.turn(1)
        sent = list(side.uplink.window.outstanding.values())
    for one in sent:
        with pytest.raises(Exception, match="upgrade the hub"):
            await ingest.submit(UID, one.body)
    assert ingest.sink.database.ask("SELECT count(*) FROM refused") == [(0,)]


async def test_both_sides_are_told_of_a_contradiction(
    store: Store, ingest: Ingest, tmp_path: Path
) -> None:
    with store.reader() as reader:
        (first, *_) = bundles(reader, UID)
    text = first.entries[3].text.replace("oak", "ash")
    data = pack(Columns([START_MS], [1], [0], b"\0"))
    span = replace(first.spans[0], data=data, readings=1)
    forged = replace(first, entries=(replace(first.entries[3], text=text),), spans=(span,))
    ingest.sink.take(received(ingest.sink, UID, [sign(dump_bundle(forged), KEY, UID)]), [], 6)
    side = side_of(store, tmp_path, ingest)
    await minutes(side, 3)
    assert side.uplink.status("hub").contradicted == 2
    assert nodes(ingest.sink.database, 1)[0].conflicts == 2


def test_a_thinned_span_that_comes_again_is_no_contradiction(store: Store, tmp_path: Path) -> None:
    sink = HubSink(SqliteDatabase(tmp_path / "hub.db"))
    enrolled(sink, KEY, UID)
    with store.reader() as reader:
        (first, *_) = bundles(reader, UID)
    sink.take(received(sink, UID, [sign(dump_bundle(first), KEY, UID)]), [], 5)
    few = thinned(unpack(first.spans[0].data))
    assert len(few) < first.spans[0].readings
    thin = replace(first.spans[0], data=pack(few), readings=len(few))
    outcome = sink.take(
        received(sink, UID, [sign(dump_bundle(replace(first, spans=(thin,))), KEY, UID)]), [], 6
    )
    assert not outcome.contradicted
    kept = sink.database.ask("SELECT data FROM span WHERE block_ms = ? AND channel = ?",
                             (thin.block_ms, thin.channel))  # fmt: skip
    assert kept == [(first.spans[0].data,)]
    sink.database.close()


YEAR_MS = 366 * 86_400_000


def test_times_are_mended_once_a_clock_is_known(store: Store, tmp_path: Path) -> None:
    sink = HubSink(SqliteDatabase(tmp_path / "hub.db"))
    enrolled(sink, KEY, UID)
    with store.reader() as reader:
        (first, *_) = bundles(reader, UID)
    unknown = replace(first, clocks=(ClockPart(0, 0, False, 0),), spans=())
    known = replace(first, clocks=(ClockPart(0, YEAR_MS, True, 1),), entries=(), spans=())
    for one in (unknown, known, unknown):  # the first comes once more, late
        sink.take(received(sink, UID, [sign(dump_bundle(one), KEY, UID)]), [], 5)
        found = sink.database.ask("SELECT utc_ms - t_ms FROM journal GROUP BY 1")
        assert found == [(0 if one is unknown and not found[0][0] else YEAR_MS,)]
    assert found == [(YEAR_MS,)]
    sink.database.close()


@pytest.mark.parametrize("years", [-1, 1])
def test_a_node_whose_clock_is_a_year_off_shows_its_alarms_today(
    store: Store, tmp_path: Path, years: int
) -> None:
    sink = HubSink(SqliteDatabase(tmp_path / "hub.db"))
    enrolled(sink, KEY, UID)
    with store.reader() as reader:
        (first, *_) = bundles(reader, UID)
    now_ms = START_MS + 60_000
    said = {
        "run": first.run, "seq": 90, "t_ms": START_MS, "kind": "alert-changed",
        "alert": "disk-low/node", "alert_kind": "disk-low", "now": "unacknowledged",
        "message": "2 GB are free",
    }  # fmt: skip
    alert = json.dumps(said)
    entry = replace(first.entries[0], seq=90, t_ms=START_MS, kind="alert-changed", text=alert)
    off = replace(
        first, clocks=(ClockPart(0, years * YEAR_MS, True, 0),), entries=(entry,), spans=(),
        now=NowPart(START_MS + 50_000, 1, NOTHING),
    )  # fmt: skip
    sink.take(received(sink, UID, [sign(dump_bundle(off), KEY, UID)]), [], now_ms)
    seen = exceptions(sink.database, 1, now_ms - 86_400_000, now_ms + 86_400_000)
    assert [one.kind for one in seen] == ["disk-low"]
    assert abs(seen[0].utc_ms - START_MS) < 60_000, "by the hub's clock"
    right = replace(off, clocks=(ClockPart(0, 0, True, 1),), entries=(),
                    now=NowPart(START_MS + 55_000, 0, NOTHING))  # fmt: skip
    sink.take(received(sink, UID, [sign(dump_bundle(right), KEY, UID)]), [], now_ms + 5000)
    assert standing(sink.database, 1, now_ms + 6000)[0].alarms == 0, "not held back by the year"
    sink.database.close()


@pytest.mark.parametrize("years", [0, -1, 1])
def test_a_corrective_action_answers_an_alarm_of_its_own_node_alone(
    store: Store, tmp_path: Path, years: int
) -> None:
    """Two nodes of one name, each with a piece of one name; a clock may be wrong."""
    sink = HubSink(SqliteDatabase(tmp_path / "hub.db"))
    with store.reader() as reader:
        (first, *_) = bundles(reader, UID)
    for seed in (1, 2):
        key, uid = key_and_uid(seed)
        enrolled(sink, key, uid)
        alarm = {"kind": "alert-changed", "alert": "hot-hold-low/butt-1", "piece": "butt-1",
                 "alert_kind": "hot-hold-low", "now": "unacknowledged"}  # fmt: skip
        action = {"kind": "corrective-taken", "piece": "butt-1", "cause": "lid left open",
                  "control_restored": "reheated", "disposition": "kept"}  # fmt: skip
        entries = tuple(
            replace(
                first.entries[0], seq=seq, t_ms=START_MS + seq * 1000, kind=said["kind"],
                text=json.dumps(
                    said | {"run": first.run, "seq": seq, "t_ms": START_MS + seq * 1000}
                ),
            )
            for seq, said in ((90, alarm), (91, action))[: 3 - seed]
        )  # fmt: skip
        one = replace(
            first, node=uid, clocks=(ClockPart(0, years * YEAR_MS, True, 0),), entries=entries,
            spans=(), now=NowPart(START_MS + 95_000, 1, NOTHING),
        )  # fmt: skip
        sink.take(received(sink, uid, [sign(dump_bundle(one), key, uid)]), [], START_MS + 96_000)
    seen = exceptions(sink.database, 1, START_MS, START_MS + 86_400_000)
    assert sorted(one.corrective for one in seen) == [
        "", "lid left open; reheated; kept (AB)."
    ]  # fmt: skip
    sink.database.close()
