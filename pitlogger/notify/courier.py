"""A courier carries messages by one way, in their order, until each is through or hopeless."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace

from pitlogger.errors import DeliveryError
from pitlogger.notify.message import Message
from pitlogger.notify.ways.way import Way
from pitlogger.store.rows import Notice

FIRST_PAUSE_MS = 5_000
LONGEST_PAUSE_MS = 300_000
SEND_TIMEOUT_S = 30.0
GIVEN_UP_MS = 24 * 3_600_000
_GIVEN_UP = "given up: it did not get through within a day"
MOOT = "acknowledged before it was sent"

Save = Callable[[Notice], None]
Report = Callable[[str, DeliveryError | None], None]  # way, what is wrong or None when mended


def pause_ms(tries: int) -> int:
    """Return how long to wait after so many failed tries: doubling, five minutes at most."""
    return min(LONGEST_PAUSE_MS, FIRST_PAUSE_MS << min(tries - 1, 16))


@dataclass(slots=True)
class Parcel:
    """A message on its way: its row, when it was handed in and when it is tried next."""

    message: Message
    notice: Notice
    since_ms: int
    next_ms: int


class Courier:
    """Carries what one way is given.

    Args:
        way_id: As configured.
        way: Sends.
        save: Keeps a row of the outbox.
        report: Told after each try how it went.
    """

    def __init__(self, way_id: str, way: Way, save: Save, report: Report) -> None:
        self.way_id = way_id
        self.waiting: deque[Parcel] = deque()
        self._way = way
        self._save = save
        self._report = report
        self._sending = False

    def use(self, way: Way, now_ms: int) -> None:
        """Go on by another way, as after its settings were changed; what waits is tried now."""
        self._way = way
        for parcel in self.waiting:
            parcel.next_ms = now_ms

    def close(self, why: str) -> None:
        """Give up what waits; what is being sent just now may still get through."""
        head = self.waiting[0] if self._sending else None
        for parcel in [parcel for parcel in self.waiting if parcel is not head]:
            self.waiting.remove(parcel)
            self._done(parcel, why)

    def hand_in(self, message: Message, notice: Notice, now_ms: int) -> None:
        """Take a message whose row is kept already."""
        self.waiting.append(Parcel(message, notice, now_ms, now_ms))

    def carries(self, alert: str) -> bool:
        """Return whether a message about an alert still waits."""
        return any(alert in parcel.message.alerts for parcel in self.waiting)

    def withdraw(self, hushed: set[str]) -> None:
        """Take back what is moot: every alert it asks a hand for was silenced."""
        head = self.waiting[0] if self._sending else None
        for parcel in list(self.waiting):
            asks = parcel.message.kind in ("raised", "repeated")
            if parcel is not head and asks and hushed.issuperset(parcel.message.alerts):
                self.waiting.remove(parcel)
                self._done(parcel, MOOT)

    async def carry(self, now_ms: int, offset_ms: int) -> None:
        """Send what is due, the oldest first; stop at the first that does not get through.

        Args:
            now_ms: Engine time.
            offset_ms: UTC less engine time.
        """
        if self._sending:
            return
        self._sending = True
        try:
            while self.waiting and self.waiting[0].next_ms <= now_ms:
                if not await self._carry_one(self.waiting[0], now_ms, offset_ms):
                    break
        finally:
            self._sending = False

    async def _carry_one(self, parcel: Parcel, now_ms: int, offset_ms: int) -> bool:
        try:
            async with asyncio.timeout(SEND_TIMEOUT_S):
                await self._way.send(parcel.message)
        except TimeoutError:
            fault = DeliveryError(f"no answer within {SEND_TIMEOUT_S:.0f} s")
        except DeliveryError as error:
            fault = error
        else:
            self.waiting.popleft()
            self._done(parcel, "")
            self._report(self.way_id, None)
            return True
        self._report(self.way_id, fault)
        if fault.for_good or now_ms - parcel.since_ms >= GIVEN_UP_MS:
            self.waiting.popleft()
            self._done(parcel, str(fault) if fault.for_good else _GIVEN_UP)
            return True
        tries = parcel.notice.tries + 1
        parcel.next_ms = now_ms + pause_ms(tries)
        parcel.notice = replace(
            parcel.notice, tries=tries, next_try_ms=parcel.next_ms + offset_ms,
            last_error=str(fault),
        )  # fmt: skip
        self._save(parcel.notice)
        return False

    def _done(self, parcel: Parcel, error: str) -> None:
        tries = parcel.notice.tries + (not error)
        self._save(replace(parcel.notice, tries=tries, last_error=error, done=True))
