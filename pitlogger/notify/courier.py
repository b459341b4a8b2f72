"""A courier carries messages by one way: the gravest first, of those the newest.

A message that hangs or is refused never holds a graver one back. High ones go side by side, each
with pauses of its own; the others one after the other, and a way that fails them rests. What a
newer message about the same alerts says better is not sent any more.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, replace

from pitlogger.errors import DeliveryError
from pitlogger.model.alerts import Priority
from pitlogger.notify.message import Message
from pitlogger.notify.ways.way import Way
from pitlogger.store.rows import Notice

FIRST_PAUSE_MS = 5_000
LONGEST_PAUSE_MS = 300_000
LONGEST_HIGH_PAUSE_MS = 30_000
SEND_TIMEOUT_S = 30.0
GIVEN_UP_MS = 24 * 3_600_000
MOST_AT_ONCE = 4
_GIVEN_UP = "given up: it did not get through within a day"
MOOT = "acknowledged before it was sent"
SUPERSEDED = "a newer message says how it stands"

Save = Callable[[Notice], None]
Report = Callable[[str, DeliveryError | None], None]  # way, what is wrong or None when mended


def pause_ms(tries: int, priority: Priority = Priority.LOW) -> int:
    """Return how long to wait after so many failed tries: doubling, up to a longest."""
    longest_ms = LONGEST_HIGH_PAUSE_MS if priority is Priority.HIGH else LONGEST_PAUSE_MS
    return min(longest_ms, FIRST_PAUSE_MS << min(tries - 1, 16))


@dataclass(slots=True, eq=False)
class Parcel:
    """A message on its way: its row, when it was handed in and when it is tried next."""

    message: Message
    notice: Notice
    since_ms: int
    next_ms: int

    @property
    def is_high(self) -> bool:
        return self.message.priority is Priority.HIGH


class Courier:
    """Carries what one way is given.

    Args:
        way_id: As configured.
        way: Sends.
        save: Keeps a row of the outbox.
        report: Told after each try how it went.
        now_ms: Engine time.
    """

    def __init__(
        self, way_id: str, way: Way, save: Save, report: Report, now_ms: Callable[[], int]
    ) -> None:
        self.way_id = way_id
        self.waiting: list[Parcel] = []  # in the order handed in
        self._way = way
        self._save = save
        self._report = report
        self._now_ms = now_ms
        self._under_way: set[Parcel] = set()
        self._failures = 0  # of messages that are not high, one after the other
        self._rests_until_ms = 0

    def use(self, way: Way, now_ms: int) -> None:
        """Go on by another way, as after its settings were changed; what waits is tried now."""
        self._way = way
        self._failures = self._rests_until_ms = 0
        for parcel in self.waiting:
            parcel.next_ms = now_ms

    def close(self, why: str) -> None:
        """Give up what waits; what is being sent just now may still get through."""
        self._give_up(lambda parcel: True, why)

    def hand_in(self, message: Message, notice: Notice, now_ms: int) -> None:
        """Take a message whose row is kept already."""
        about = set(message.alerts)
        if about and message.kind != "repeated":
            self._give_up(
                lambda parcel: (
                    bool(parcel.message.alerts) and about.issuperset(parcel.message.alerts)
                ),
                SUPERSEDED,
            )
        self.waiting.append(Parcel(message, notice, now_ms, now_ms))

    def carries(self, alert: str) -> bool:
        """Return whether a message about an alert still waits."""
        return any(alert in parcel.message.alerts for parcel in self.waiting)

    def withdraw(self, hushed: set[str]) -> None:
        """Take back what is moot: every alert it asks a hand for was silenced."""
        self._give_up(
            lambda parcel: (
                parcel.message.kind in ("raised", "repeated")
                and hushed.issuperset(parcel.message.alerts)
            ),
            MOOT,
        )

    def has_due(self, now_ms: int) -> bool:
        """Return whether something may be sent now."""
        return self._next(now_ms) is not None

    async def carry(self, now_ms: int, offset_ms: int) -> None:
        """Send what is due, one after the other; called again meanwhile, send side by side.

        Args:
            now_ms: Engine time.
            offset_ms: UTC less engine time.
        """
        while (parcel := self._next(now_ms)) is not None:
            self._under_way.add(parcel)
            try:
                await self._carry_one(parcel, now_ms, offset_ms)
            finally:
                self._under_way.discard(parcel)

    def _next(self, now_ms: int) -> Parcel | None:
        """Return the gravest and newest of what may be sent now."""
        if len(self._under_way) >= MOST_AT_ONCE:
            return None
        rests = bool(self._under_way) or now_ms < self._rests_until_ms
        due = [
            (parcel.message.priority, 0 if parcel.is_high else -parcel.notice.tries, place)
            for place, parcel in enumerate(self.waiting)
            if parcel.next_ms <= now_ms
            and parcel not in self._under_way
            and (parcel.is_high or not rests)
        ]
        return self.waiting[max(due)[-1]] if due else None

    async def _carry_one(self, parcel: Parcel, now_ms: int, offset_ms: int) -> None:
        fault = await self._send(parcel.message)
        took_ms = self._now_ms()
        if fault is None:
            self._failures = self._rests_until_ms = 0
            self._over(parcel, "", took_ms + offset_ms)
        elif fault.for_good or now_ms - parcel.since_ms >= GIVEN_UP_MS:
            self._over(parcel, str(fault) if fault.for_good else _GIVEN_UP)
        else:
            self._put_off(parcel, str(fault), took_ms, offset_ms)
        self._report(self.way_id, fault)

    async def _send(self, message: Message) -> DeliveryError | None:
        try:
            async with asyncio.timeout(SEND_TIMEOUT_S):
                await self._way.send(message)
        except TimeoutError:
            return DeliveryError(f"no answer within {SEND_TIMEOUT_S:.0f} s")
        except DeliveryError as fault:
            return fault
        return None

    def _put_off(self, parcel: Parcel, error: str, now_ms: int, offset_ms: int) -> None:
        tries = parcel.notice.tries + 1
        parcel.next_ms = now_ms + pause_ms(tries, parcel.message.priority)
        if not parcel.is_high:
            self._failures += 1
            self._rests_until_ms = now_ms + pause_ms(self._failures)
        parcel.notice = replace(
            parcel.notice, tries=tries, next_try_ms=parcel.next_ms + offset_ms, last_error=error
        )
        if parcel in self.waiting:
            self._save(parcel.notice)

    def _give_up(self, moot: Callable[[Parcel], bool], why: str) -> None:
        for parcel in [*self.waiting]:
            if parcel not in self._under_way and moot(parcel):
                self._over(parcel, why)

    def _over(self, parcel: Parcel, error: str, sent_utc_ms: int | None = None) -> None:
        if parcel in self.waiting:
            self.waiting.remove(parcel)
        done = replace(
            parcel.notice, tries=parcel.notice.tries + (not error), last_error=error, done=True
        )
        self._save(done if sent_utc_ms is None else replace(done, next_try_ms=sent_utc_ms))
