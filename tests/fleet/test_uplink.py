"""An uplink over a link that loses, doubles, reorders and forgets: the hub ends with all of it."""

from __future__ import annotations

import asyncio
import random
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from pitlogger.bootstrap.policies import load_policy
from pitlogger.clock import ManualClock
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.errors import BundleError, DeliveryError
from pitlogger.hub.ingest import Ingest
from pitlogger.hub.nodes import Nodes
from pitlogger.hub.receive import NotEnrolledError
from pitlogger.hub.writing import HubSink
from pitlogger.store import Store
from pitlogger.testing.waiting import until
from pitlogger.uplink.carrier import CarrierEvent
from pitlogger.uplink.position import Position
from pitlogger.uplink.service import BEHIND_MS, POSITION_FILE, Uplink
from pitlogger.uplink.window import NEVER_MS
from pitlogger.views.fanout import Happening
from pitlogger.views.node import Node
from tests.fleet.made import START_MS, bundles, key_and_uid
from tests.fleet.test_record import in_hub, in_node

KEY, UID = key_and_uid(1)


class FlakyLink:
    """Carries to an ingest in this process; what it does is drawn."""

    def __init__(self, ingest: Ingest, rng: random.Random, loss: float) -> None:
        self.report: Callable[[CarrierEvent], None] = lambda event: None
        self.ingest, self.rng, self.loss = ingest, rng, loss
        self.sends = 0
        self.down = False
        self._tasks: set[asyncio.Task[None]] = set()

    async def run(self) -> None:
        await asyncio.Event().wait()

    def send(self, number: int, body: bytes) -> None:
        self.sends += 1
        if self.down or self.rng.random() < self.loss:
            return
        for _ in range(2 if self.rng.random() < self.loss else 1):
            task = asyncio.create_task(self._carry(body))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)

    async def _carry(self, body: bytes) -> None:
        try:
            answer = await self.ingest.submit(UID, body)
        except BundleError as fault:
            self.report(CarrierEvent(fault=DeliveryError(str(fault))))
            return
        if self.rng.random() >= self.loss:
            self.report(CarrierEvent(answer=answer))

    async def settled(self) -> None:
        """Wait until nothing is on its way."""
        while self._tasks:
            await asyncio.gather(*self._tasks, return_exceptions=True)


class Side:
    """A node's side: its store, a clock that is moved by hand, an uplink begun anew at will."""

    def __init__(self, store: Store, folder: Path, link: FlakyLink) -> None:
        self.clock = ManualClock(START_MS + 10_000_000)
        self.store, self.folder, self.link = store, folder, link
        self.reports: list[DeliveryError | None] = []
        engine = Engine(EngineState(store.run.run), load_policy())
        self.node = cast(Node, SimpleNamespace(
            clock=self.clock, engine=engine, run=store.run.run, cook="supper", uid=UID,
            ask=self._ask,
        ))  # fmt: skip
        self.begin()

    async def _ask(self, question: Callable[[Any], Any]) -> Any:
        with self.store.reader() as reader:
            return question(reader)

    def begin(self) -> None:
        """Begin an uplink as a process that was just started does."""
        chance = random.Random(3).random
        self.uplink = Uplink(
            self.node, KEY, self.link, self.folder, "", self.reports.append, chance=chance
        )

    async def turn(self, seconds: float) -> None:
        """Let time pass; take what came and do what is due."""
        self.clock.advance(round(seconds * 1000))
        now_ms = self.clock.engine_ms()
        while self.uplink._events:
            self.uplink._take(self.uplink._events.popleft(), now_ms)
        await self.uplink.step(now_ms)
        await self.link.settled()

    async def until_all_is_there(self, sink: HubSink, database: Path, most: int = 400) -> int:
        expected = in_node(database)
        for turn in range(most):
            if in_hub(sink) == expected:
                return turn
            await self.turn(30)
        raise AssertionError("not all of it arrived")


@pytest.mark.parametrize("loss", [0.0, 0.3, 0.6])
async def test_all_of_it_arrives_over_a_link_that_loses_doubles_and_reorders(
    store: Store, ingest: Ingest, tmp_path: Path, loss: float
) -> None:
    side = Side(store, tmp_path, FlakyLink(ingest, random.Random(11), loss))
    await side.until_all_is_there(ingest.sink, tmp_path / "pitlogger.db")
    for _ in range(40):
        await side.turn(60)
    assert side.reports.count(None) <= len(side.reports)
    assert side.uplink.progress.received.journal == {1: 7}


async def test_killed_again_and_again_it_goes_on_where_the_hub_has_it(
    store: Store, ingest: Ingest, tmp_path: Path
) -> None:
    link = FlakyLink(ingest, random.Random(5), 0.3)
    side = Side(store, tmp_path, link)
    sink = ingest.sink
    for _ in range(60):
        await side.turn(20)
        if link.rng.random() < 0.5:
            side.begin()
        if link.rng.random() < 0.3:
            side.uplink._save()
    await side.until_all_is_there(sink, tmp_path / "pitlogger.db")
    assert not sink.database.ask("SELECT * FROM conflict")


async def test_a_hub_restored_from_yesterday_gets_what_it_lacks(
    store: Store, ingest: Ingest, tmp_path: Path
) -> None:
    side = Side(store, tmp_path, FlakyLink(ingest, random.Random(5), 0.0))
    sink = ingest.sink
    await side.until_all_is_there(sink, tmp_path / "pitlogger.db")
    await side.turn(60)
    sink.database.ask("DELETE FROM journal WHERE seq > 3")
    sink.database.ask("DELETE FROM span WHERE block_ms > ?", (START_MS,))
    side.begin()  # from what it saved, which says that the hub has all
    for _ in range(10):
        await side.turn(60)
    assert in_hub(sink) == in_node(tmp_path / "pitlogger.db")


async def test_ten_minutes_without_a_receipt_are_reported_once_and_taken_back(
    store: Store, ingest: Ingest, tmp_path: Path
) -> None:
    link = FlakyLink(ingest, random.Random(5), 0.0)
    link.down = True
    side = Side(store, tmp_path, link)
    for _ in range(BEHIND_MS // 60_000 + 3):
        await side.turn(60)
    assert len(side.reports) == 1
    assert side.reports[0] is not None
    assert "Nothing is lost" in str(side.reports[0])
    link.down = False
    for _ in range(30):
        await side.turn(60)
    assert side.reports[1:] == [None]


async def test_three_days_away_cost_little_and_end_with_all_of_it(
    store: Store, ingest: Ingest, tmp_path: Path
) -> None:
    link = FlakyLink(ingest, random.Random(5), 0.0)
    link.down = True
    side = Side(store, tmp_path, link)
    for _ in range(3 * 24 * 60):
        await side.turn(60)
    assert link.sends < 3 * 24 * 6 * 4 + 100  # each of four bundles once in ten minutes at most
    link.down = False
    await side.until_all_is_there(ingest.sink, tmp_path / "pitlogger.db")


async def test_it_rests_until_something_is_due(
    store: Store, ingest: Ingest, tmp_path: Path
) -> None:
    side = Side(store, tmp_path, FlakyLink(ingest, random.Random(5), 0.0))
    await side.until_all_is_there(ingest.sink, tmp_path / "pitlogger.db")
    side.uplink.window.outstanding.clear()
    uplink, now_ms = side.uplink, side.clock.engine_ms()
    assert 1.0 <= uplink.rest_s(now_ms) <= 121.0
    uplink.flush.now_due_ms = uplink.flush.spans_due_ms = now_ms + 40_000
    assert uplink.rest_s(now_ms) == pytest.approx(40, abs=0.01)
    uplink.flush.entered("noted", now_ms)
    assert uplink.rest_s(now_ms) == pytest.approx(5, abs=0.01)
    uplink.flush.entered("weighed", now_ms)
    assert uplink.rest_s(now_ms) == 1, "it looks at most once a second unless it is woken"
    for number in range(4):
        uplink.window.sent(number, b"", now_ms)
    assert 17 <= uplink.rest_s(now_ms) <= 23, "a full window waits for a receipt or its time"
    uplink._paused_ms = now_ms + 50_000
    later_s = pytest.approx(50, abs=0.01)
    assert uplink.rest_s(now_ms) == later_s, "a hub that said 'later' is left alone"
    uplink._paused_ms = now_ms + 900_000
    assert uplink.rest_s(now_ms) == 600


async def test_how_things_stand_goes_with_what_is_sent_and_is_not_said_twice(
    store: Store, ingest: Ingest, tmp_path: Path
) -> None:
    side = Side(store, tmp_path, FlakyLink(ingest, random.Random(5), 0.0))
    await side.until_all_is_there(ingest.sink, tmp_path / "pitlogger.db")
    uplink, now_ms = side.uplink, side.clock.engine_ms()
    flush = uplink.flush
    flush.now_sent(now_ms)
    with store.reader() as reader:
        bundle = next(bundles(reader, UID))
    assert uplink._with_now(bundle, now_ms + 5_000).now is None, "nor with all of a catch-up"
    said = uplink._with_now(bundle, now_ms + 5_001)
    assert said.now is not None
    assert said.now.t_ms == now_ms + 5_001
    assert said.entries == bundle.entries
    assert not flush.wants_now(now_ms + 65_000)
    assert uplink._with_now(replace(bundle, run="a2bc-earlier1"), now_ms + 80_000).now is None
    flush.entered("noted", now_ms + 6_000)
    assert not flush.wants_now(now_ms + 65_000)
    flush.entered("alert-changed", now_ms + 6_000)
    assert flush.wants_now(now_ms + 11_000), "an alarm is seen within five seconds"


async def test_how_things_stand_alone_costs_no_question_until_something_is_entered(
    store: Store, ingest: Ingest, tmp_path: Path
) -> None:
    side = Side(store, tmp_path, FlakyLink(ingest, random.Random(5), 0.0))
    await side.until_all_is_there(ingest.sink, tmp_path / "pitlogger.db")
    uplink, now_ms = side.uplink, side.clock.engine_ms()
    uplink._held_due_ms = NEVER_MS
    first = await uplink._now(now_ms)
    side.node.ask = refused  # type: ignore[method-assign, assignment]
    second = await uplink._now(now_ms + 60_000)
    assert second.number > first.number
    assert second == replace(first, number=second.number, now=second.now)
    happenings: asyncio.Queue[Happening] = asyncio.Queue()
    uplink._wake.clear()
    listening = asyncio.create_task(uplink._listen(happenings))
    happenings.put_nowait(Happening("entry", {"kind": "clock-set"}))
    await uplink._wake.wait()
    with pytest.raises(AssertionError, match="asked"):
        await uplink._now(now_ms + 120_000)
    listening.cancel()


async def refused(question: object) -> None:
    raise AssertionError("asked")


@pytest.mark.parametrize("on_disk", [True, False])
async def test_an_alarm_wakes_it(
    store: Store, ingest: Ingest, tmp_path: Path, on_disk: bool
) -> None:
    """Heard of before it is on disk it is looked for once more, five seconds later."""
    link = FlakyLink(ingest, random.Random(5), 0.0)
    side = Side(store, tmp_path, link)
    await side.until_all_is_there(ingest.sink, tmp_path / "pitlogger.db")
    await side.turn(1)
    stepped: asyncio.Queue[int] = asyncio.Queue()

    async def step(now_ms: int) -> None:
        stepped.put_nowait(now_ms)

    side.uplink.step = step  # type: ignore[method-assign]
    happenings: asyncio.Queue[Happening] = asyncio.Queue()
    running = asyncio.create_task(side.uplink.run(happenings))
    await stepped.get()
    now_ms = side.clock.engine_ms()
    side.uplink.flush.now_due_ms = side.uplink.flush.spans_due_ms = now_ms + 60_000
    data = {"kind": "alert-changed", "on_disk": on_disk}
    async with asyncio.timeout(0.9):  # a rest is a second at least
        happenings.put_nowait(Happening("steady", {"channel": "bench"}))
        happenings.put_nowait(Happening("entry", {"kind": "forecast-made"}))
        happenings.put_nowait(Happening("alert", data))
        if on_disk:
            await stepped.get()
    due_ms = now_ms + (0 if on_disk else 5_000)
    await until(lambda: side.uplink.flush.entries_due_ms == due_ms, 10)
    assert on_disk or side.uplink.rest_s(now_ms) == pytest.approx(5, abs=0.01)
    assert stepped.empty()
    running.cancel()
    await asyncio.gather(running, return_exceptions=True)


async def test_a_node_that_was_retired_is_refused_at_its_next_bundle(
    store: Store, ingest: Ingest, tmp_path: Path
) -> None:
    side = Side(store, tmp_path, FlakyLink(ingest, random.Random(5), 0.0))
    sink = ingest.sink
    Nodes(sink.database).set_state(UID, 1, "stolen", 2, "owner")
    await side.turn(1)
    await side.turn(1)
    assert side.uplink.fault is not None
    assert "stolen" in str(side.uplink.fault)
    assert not in_hub(sink)[0]
    with pytest.raises(NotEnrolledError):
        await ingest.submit("p-unknown", b"x")


async def test_one_poisoned_message_blocks_nothing(
    store: Store, ingest: Ingest, tmp_path: Path
) -> None:
    side = Side(store, tmp_path, FlakyLink(ingest, random.Random(5), 0.0))
    sink = ingest.sink
    answers = await asyncio.gather(
        *(ingest.submit(UID, bad) for bad in (b"", b"\xff", b"\xd2\x80"))
    )
    assert all(answer.refused for answer in answers)
    await side.until_all_is_there(sink, tmp_path / "pitlogger.db")
    reasons = sink.database.ask("SELECT reason FROM refused")
    assert len(reasons) == 3


def test_the_position_of_another_hub_is_not_taken(tmp_path: Path) -> None:
    Position(span=5).save(tmp_path / POSITION_FILE, "h-1")
    assert Position.load(tmp_path / POSITION_FILE, "h-1").span == 5
    assert Position.load(tmp_path / POSITION_FILE, "h-2").span == 0
    (tmp_path / POSITION_FILE).write_bytes(b"\x00{")
    assert Position.load(tmp_path / POSITION_FILE, "h-1").span == 0


async def test_what_is_entered_while_the_record_is_read_is_due_anew(
    store: Store, ingest: Ingest, tmp_path: Path
) -> None:
    side = Side(store, tmp_path, FlakyLink(ingest, random.Random(1), 0.0))
    await side.until_all_is_there(ingest.sink, tmp_path / "pitlogger.db")
    read = side._ask

    async def slow(question: Callable[[Any], Any]) -> Any:
        found = await read(question)
        side.uplink.flush.entered("alert-changed", side.clock.engine_ms())
        return found

    cast(Any, side.node).ask = slow
    side.uplink.flush.entered("alert-changed", side.clock.engine_ms())
    await side.turn(0)
    assert side.uplink.flush.wants_entries(side.clock.engine_ms())


async def test_a_receipt_alone_wakes_nobody(store: Store, ingest: Ingest, tmp_path: Path) -> None:
    link = FlakyLink(ingest, random.Random(1), 0.0)
    side = Side(store, tmp_path, link)
    await side.until_all_is_there(ingest.sink, tmp_path / "pitlogger.db")
    working = asyncio.create_task(side.uplink.run(asyncio.Queue()))
    try:
        await until(lambda: side.uplink._timer is not None, 10)
        side.uplink._wake.clear()
        side.uplink._send(await side.uplink._now(side.clock.engine_ms()), 0)
        assert side.uplink.window.outstanding
        await link.settled()
        assert not side.uplink.window.outstanding
        assert not side.uplink._wake.is_set()
    finally:
        working.cancel()
        await asyncio.gather(working, return_exceptions=True)


async def test_a_send_that_fails_is_looked_at_again(
    store: Store, ingest: Ingest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    side = Side(store, tmp_path, FlakyLink(ingest, random.Random(3), 0.0))
    await side.until_all_is_there(ingest.sink, tmp_path / "pitlogger.db")
    await side.turn(0)

    def fails(number: int, body: bytes) -> None:
        raise OSError("made to fail")

    monkeypatch.setattr(side.link, "send", fails)
    uplink, now_ms = side.uplink, side.clock.engine_ms()
    uplink._held_due_ms = NEVER_MS
    await uplink._now(now_ms)  # its row is known from then on
    uplink._events.clear()
    uplink._wake.clear()
    uplink.flush.now_due_ms = now_ms
    uplink.flush.spans_due_ms = uplink.flush.entries_due_ms = NEVER_MS
    with pytest.raises(OSError, match="made to fail"):
        uplink._is_due()
    assert uplink._timer is not None
    assert 0 < uplink._timer.when() - asyncio.get_running_loop().time() <= 60
    uplink._rest_no_more()
