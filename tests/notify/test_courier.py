"""A courier keeps the order, tries again, and says when a way is hopeless."""

from __future__ import annotations

import asyncio
from itertools import pairwise

import pytest

from pitlogger.errors import DeliveryError
from pitlogger.model.alerts import Priority
from pitlogger.notify.courier import (
    GIVEN_UP_MS,
    LONGEST_PAUSE_MS,
    SUPERSEDED,
    Courier,
    pause_ms,
)
from pitlogger.notify.message import Message, MessageKind
from pitlogger.store.rows import Notice

NOW_MS = 1_790_000_000_000


class FakeWay:
    """Takes messages unless a fault is set."""

    def __init__(self) -> None:
        self.taken: list[str] = []
        self.fault: DeliveryError | None = None
        self.tries = 0

    async def send(self, message: Message) -> str:
        self.tries += 1
        if self.fault is not None:
            raise self.fault
        self.taken.append(message.id)
        return "taken"


class Desk:
    """A courier with all it tells."""

    def __init__(self) -> None:
        self.way = FakeWay()
        self.rows: dict[str, Notice] = {}
        self.reports: list[str | None] = []
        self.now_ms = NOW_MS
        self.courier = Courier("phone", self.way, self._save, self._report, lambda: self.now_ms)

    def _save(self, row: Notice) -> None:
        self.rows[row.id] = row

    def _report(self, way: str, fault: DeliveryError | None) -> None:
        self.reports.append(None if fault is None else fault.message)

    def give(
        self, name: str, kind: MessageKind = "raised", alert: str = "", priority: str = "low"
    ) -> None:
        alerts = (alert or f"pit-low/{name}",)
        level = Priority[priority.upper()]
        message = Message(name, kind, "title", "text", level, NOW_MS, alerts)
        row = Notice(name, alerts[0], "phone", message.dump(), NOW_MS)
        self.courier.hand_in(message, row, NOW_MS)

    async def at(self, seconds: float) -> None:
        self.now_ms = NOW_MS + round(seconds * 1000)
        await self.courier.carry(self.now_ms, 0)


@pytest.fixture
def desk() -> Desk:
    return Desk()


async def test_a_delivered_message_is_done(desk: Desk) -> None:
    desk.give("a")
    await desk.at(0)
    assert desk.rows["a"].done
    assert desk.rows["a"].tries == 1


async def test_after_an_outage_of_an_hour_the_gravest_and_newest_comes_first(desk: Desk) -> None:
    desk.way.fault = DeliveryError("away")
    for name, priority in (("a", "low"), ("b", "high"), ("c", "medium"), ("d", "high")):
        desk.give(name, priority=priority)
    for minute in range(60):
        await desk.at(minute * 60)
    desk.way.fault = None
    await desk.at(4000)
    assert desk.way.taken == ["d", "b", "c", "a"]


async def test_a_failed_try_is_kept_with_its_error_and_its_next_time(desk: Desk) -> None:
    desk.way.fault = DeliveryError("away", remedy="Look at the network")
    desk.give("a")
    await desk.at(0)
    row = desk.rows["a"]
    assert (row.done, row.tries, row.next_try_ms) == (False, 1, NOW_MS + pause_ms(1))
    assert row.last_error == "away. Look at the network"


async def test_nothing_is_tried_before_its_pause_is_over(desk: Desk) -> None:
    desk.way.fault = DeliveryError("away")
    desk.give("a")
    await desk.at(0)
    await desk.at(4.9)
    assert desk.way.tries == 1
    await desk.at(5.0)
    assert desk.way.tries == 2


def test_pauses_double_up_to_five_minutes() -> None:
    assert [pause_ms(tries) // 1000 for tries in (1, 2, 3, 8, 200)] == [5, 10, 20, 300, 300]
    assert LONGEST_PAUSE_MS == 300_000


async def test_what_is_refused_for_good_lets_the_next_one_through(desk: Desk) -> None:
    desk.give("a")
    desk.give("b")
    desk.way.fault = DeliveryError("wrong token", for_good=True)
    await desk.at(0)
    assert desk.rows["a"].done
    assert desk.rows["a"].last_error == "wrong token"
    assert not desk.courier.waiting


async def test_each_try_is_reported_with_how_it_went(desk: Desk) -> None:
    desk.way.fault = DeliveryError("away")
    desk.give("a")
    await desk.at(0)
    await desk.at(10)
    desk.way.fault = None
    await desk.at(60)
    assert desk.reports == ["away", "away", None]


async def test_another_way_takes_over_what_waits_at_once(desk: Desk) -> None:
    desk.way.fault = DeliveryError("away")
    desk.give("a")
    desk.give("b")
    await desk.at(0)
    other = FakeWay()
    desk.courier.use(other, NOW_MS + 1000)
    await desk.at(1)
    assert sorted(other.taken) == ["a", "b"]
    assert not desk.courier.waiting


async def test_a_way_that_is_left_gives_up_what_waits_with_the_reason(desk: Desk) -> None:
    desk.way.fault = DeliveryError("away")
    desk.give("a")
    desk.give("b")
    await desk.at(0)
    desk.courier.close("left")
    assert [(row.done, row.last_error) for row in desk.rows.values()] == [(True, "left")] * 2


async def test_a_message_is_given_up_after_a_day(desk: Desk) -> None:
    desk.way.fault = DeliveryError("away")
    desk.give("a")
    await desk.at(GIVEN_UP_MS / 1000)
    assert desk.rows["a"].done
    assert "given up" in desk.rows["a"].last_error


async def test_what_was_acknowledged_before_it_was_sent_is_taken_back(desk: Desk) -> None:
    desk.give("a")
    desk.give("b", alert="flare-up/pit")
    desk.courier.withdraw({"pit-low/a"})
    await desk.at(0)
    assert desk.way.taken == ["b"]
    assert desk.rows["a"].last_error == "acknowledged before it was sent"


async def test_a_note_that_all_is_well_again_is_not_taken_back(desk: Desk) -> None:
    desk.give("a", kind="returned")
    desk.courier.withdraw({"pit-low/a"})
    await desk.at(0)
    assert desk.way.taken == ["a"]


class HangingWay(FakeWay):
    """Takes messages but for those whose id it hangs on, until it is let go."""

    def __init__(self, *hangs_on: str) -> None:
        super().__init__()
        self.hangs_on = set(hangs_on)
        self.free = asyncio.Event()

    async def send(self, message: Message) -> str:
        if message.id in self.hangs_on:
            await self.free.wait()
        return await super().send(message)


async def test_a_low_message_that_hangs_or_rests_holds_no_high_one_back(desk: Desk) -> None:
    way = HangingWay("back in band")
    desk.courier.use(way, NOW_MS)
    desk.give("back in band", "returned")
    hanging = asyncio.create_task(desk.at(0))
    await asyncio.sleep(0)
    desk.give("fire is out", alert="pit-falling/pit", priority="high")
    await desk.at(1)
    assert way.taken == ["fire is out"]
    way.free.set()
    await hanging
    assert way.taken == ["fire is out", "back in band"]


async def test_a_low_message_that_failed_for_minutes_holds_no_high_one_back(desk: Desk) -> None:
    desk.way.fault = DeliveryError("away")
    desk.give("back in band", "returned")
    for second in range(300):
        await desk.at(second)
    desk.way.fault = None
    desk.give("fire is out", alert="pit-falling/pit", priority="high")
    await desk.at(300)
    assert desk.way.taken[0] == "fire is out"
    assert desk.way.taken == ["fire is out", "back in band"] or not desk.courier.has_due(
        desk.now_ms
    )


async def test_high_messages_go_side_by_side(desk: Desk) -> None:
    way = HangingWay("a")
    desk.courier.use(way, NOW_MS)
    desk.give("a", priority="high")
    hanging = asyncio.create_task(desk.at(0))
    await asyncio.sleep(0)
    desk.give("b", priority="high")
    await desk.at(0)
    assert way.taken == ["b"]
    way.free.set()
    await hanging


async def test_a_high_message_is_tried_again_every_half_minute_at_the_latest(desk: Desk) -> None:
    desk.way.fault = DeliveryError("away")
    desk.give("a", priority="high")
    tried_at_s = []
    for second in range(600):
        before = desk.way.tries
        await desk.at(second)
        if desk.way.tries > before:
            tried_at_s.append(second)
    assert max(b - a for a, b in pairwise(tried_at_s)) <= 30


async def test_a_newer_message_about_the_same_alerts_takes_the_place_of_an_older(
    desk: Desk,
) -> None:
    desk.way.fault = DeliveryError("away")
    desk.give("raised", alert="pit-low/pit", priority="high")
    await desk.at(0)
    desk.give("returned", "returned", alert="pit-low/pit")
    desk.way.fault = None
    await desk.at(60)
    assert desk.way.taken == ["returned"]
    assert desk.rows["raised"].last_error == SUPERSEDED


async def test_sent_at_is_when_the_other_side_took_it(desk: Desk) -> None:
    way = HangingWay("a")
    desk.courier.use(way, NOW_MS)
    desk.give("a")
    hanging = asyncio.create_task(desk.at(0))
    await asyncio.sleep(0)
    desk.now_ms = NOW_MS + 7_000
    way.free.set()
    await hanging
    assert desk.rows["a"].next_try_ms == NOW_MS + 7_000


async def test_one_message_that_is_never_taken_does_not_starve_the_others(desk: Desk) -> None:
    class Picky(FakeWay):
        async def send(self, message: Message) -> str:
            self.tries += 1
            if message.id == "a":
                raise DeliveryError("429 too many requests")
            self.taken.append(message.id)
            return "taken"

    desk.courier.use(picky := Picky(), NOW_MS)
    for name in ("b", "c", "a"):
        desk.give(name)
    for second in range(60):
        await desk.at(second)
    assert sorted(picky.taken) == ["b", "c"]
