"""The uplink at work: sends what the record holds and the hub has not, for as long as it runs.

Nothing is kept beside the record. What has no receipt is sent again; only the hub's word that
it is in its database moves the position. A node whose hub is away for days goes on as ever.
"""

from __future__ import annotations

import asyncio
import logging
import random
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from pitlogger.errors import DeliveryError, StoreError
from pitlogger.formats.bundle import Bundle, dump_bundle
from pitlogger.formats.cose import sign
from pitlogger.uplink.carrier import Carrier, CarrierEvent, HubAnswer
from pitlogger.uplink.contents import Next, next_bundle, now_alone
from pitlogger.uplink.flush import URGENT, Flush, offset_of
from pitlogger.uplink.join import keep_certificate
from pitlogger.uplink.now import now_of
from pitlogger.uplink.position import Position, Progress
from pitlogger.uplink.window import Window
from pitlogger.views.fanout import Happening
from pitlogger.views.node import Node
from pitlogger.views.uplink import UplinkStatus

log = logging.getLogger(__name__)

TICK_S = 1.0
BEHIND_MS = 600_000  # without a receipt, while something waits for one
SAVE_MS = 60_000
ALL_RUNS_MS = 600_000
POSITION_FILE = "uplink-position.json"


Report = Callable[[DeliveryError | None], None]


class Uplink:
    """Sends the record of a node to one hub.

    Args:
        node: The node.
        key: Of the node; signs each bundle.
        carrier: The way to the hub.
        data: Folder of the file that holds the position.
        hub: Id of the hub as it was told when joining.
        report: Told what is wrong with the uplink, ``None`` once it works.
        offer: Told which priors the hub offers.
        chance: Spreads what is sent again.
    """

    def __init__(
        self, node: Node, key: Ed25519PrivateKey, carrier: Carrier, data: Path, hub: str,
        report: Report, offer: Callable[[dict[str, dict[str, float]]], None] | None = None,
        chance: Callable[[], float] = random.random,
    ) -> None:  # fmt: skip
        self._node = node
        self._key = key
        self._carrier = carrier
        self._path = data / POSITION_FILE
        self._hub = hub
        self._report = report
        self._offer = offer
        self.window = Window(chance)
        self.progress = Progress(Position.load(self._path, hub))
        self.flush = Flush(offset_of(node.uid))
        self.refused = 0
        self.fault: DeliveryError | None = None
        self._number = 0
        self._events: deque[CarrierEvent] = deque()
        self._wake = asyncio.Event()
        self._floors: dict[int, tuple[str, int]] = {}
        self._paused_ms = 0
        self._saved_ms = self._all_runs_ms = 0
        self._is_behind = False
        carrier.report = self._came

    async def run(self, happenings: asyncio.Queue[Happening]) -> None:
        """Work until cancelled. ``happenings`` brings what is entered at the node."""
        beside = [
            asyncio.create_task(self._carrier.run(), name="uplink-carrier"),
            asyncio.create_task(self._listen(happenings), name="uplink-listens"),
        ]
        try:
            while True:
                with suppress(TimeoutError):
                    async with asyncio.timeout(TICK_S):
                        await self._wake.wait()
                self._wake.clear()
                now_ms = self._node.clock.engine_ms()
                while self._events:
                    self._take(self._events.popleft(), now_ms)
                await self.step(now_ms)
        finally:
            for task in beside:
                task.cancel()
            await asyncio.gather(*beside, return_exceptions=True)
            self._save()

    async def _listen(self, happenings: asyncio.Queue[Happening]) -> None:
        while True:
            kind = str((await happenings.get()).data.get("kind", ""))
            self.flush.entered(kind, self._node.clock.engine_ms())
            if kind in URGENT:
                self._wake.set()

    def _came(self, event: CarrierEvent) -> None:
        self._events.append(event)
        self._wake.set()

    async def step(self, now_ms: int) -> None:
        """Send again what is due, then what is new and due, as far as the window has room."""
        if now_ms >= self._paused_ms:
            for one in self.window.due(now_ms):
                await self._carrier.send(one.number, one.body)
            await self._send_new(now_ms)
        self._watch(now_ms)
        if now_ms - self._saved_ms >= SAVE_MS:
            self._saved_ms = now_ms
            self._save()

    async def _send_new(self, now_ms: int) -> None:
        spans = self.flush.wants_spans(now_ms)
        all_runs = spans and now_ms - self._all_runs_ms >= ALL_RUNS_MS
        if spans or self.flush.wants_entries(now_ms):
            while self.window.has_room:
                found = await self._next(spans, all_runs)
                if found is None:
                    self.flush.all_sent(now_ms, spans=spans)
                    if all_runs:
                        self._all_runs_ms = now_ms
                    break
                number, run = found.bundle.number, found.bundle.run
                self.progress.send(number, found.after)
                self._floors[number] = (run, self.progress.received.journal.get(found.row, 0))
                await self._send(found.bundle, now_ms)
        if self.window.has_room and self.flush.wants_now(now_ms):
            self.flush.now_sent(now_ms)
            now = now_of(self._node.engine, self._node.cook, now_ms)
            number, run = self._new_number(), self._node.run
            await self._send(
                await self._node.ask(lambda r: now_alone(r, self._node.uid, number, run, now)),
                now_ms,
            )

    async def _next(self, spans: bool, all_runs: bool) -> Next | None:
        number, sent = self._new_number(), self.progress.sent
        try:
            found: Next | None = await self._node.ask(
                lambda reader: next_bundle(
                    reader, self._node.uid, number, sent, spans=spans, all_runs=all_runs
                )
            )
        except StoreError as fault:
            log.warning("the record cannot be read for the hub: %s", fault)
            return None
        return found

    def _new_number(self) -> int:
        self._number += 1
        return self._number

    async def _send(self, bundle: Bundle, now_ms: int) -> None:
        body = sign(dump_bundle(bundle), self._key, self._node.uid)
        self.window.sent(bundle.number, body, now_ms)
        await self._carrier.send(bundle.number, body)

    # -- answers ----------------------------------------------------------------------------

    def _take(self, event: CarrierEvent, now_ms: int) -> None:
        if event.answer is not None:
            self._answered(event.answer, now_ms)
        if event.forgotten:
            self.window.forgotten(now_ms)
        if event.retry_s:
            self._paused_ms = now_ms + round(event.retry_s * 1000)
        if event.fault is not None:
            self.fault = event.fault

    def _answered(self, answer: HubAnswer, now_ms: int) -> None:
        self.fault = None
        ended = [*((number, "") for number in answer.received), *answer.refused]
        was_set_back = any(self._shows_less(number, answer) for number, _ in ended)
        for number, reason in ended:
            self._floors.pop(number, None)
            if self.window.receipt(number, now_ms):
                self.progress.receive(number)
                if reason:  # the hub keeps it apart; it must not hold up the rest
                    self.refused += 1
                    log.error("the hub set bundle %d aside: %s", number, reason)
        if answer.hub != self._hub or was_set_back:
            log.warning("the hub was restored or set up anew: all of the record is sent again")
            self._hub = answer.hub
            self._start_over(now_ms)
        if answer.certificate is not None:
            try:
                keep_certificate(self._path.parent, answer.certificate)
            except OSError as fault:
                log.warning("the new certificate cannot be kept: %s", fault)
        if answer.offer is not None and self._offer is not None:
            self._offer(answer.offer)

    def _shows_less(self, number: int, answer: HubAnswer) -> bool:
        """Return whether the hub lacks what it had confirmed before this bundle was first sent."""
        run, floor = self._floors.get(number, ("", 0))
        return answer.has.get(run, floor) < floor

    def _start_over(self, now_ms: int) -> None:
        self.progress = Progress(Position())
        self.window.outstanding.clear()
        self._floors.clear()
        self.flush.entries_due_ms = self.flush.spans_due_ms = now_ms
        self._all_runs_ms = 0
        self._save()

    def status(self, where: str) -> UplinkStatus:
        """Return how it fares."""
        fault = None if self.fault is None else str(self.fault)
        return UplinkStatus(
            uid=self._node.uid, hub=where, waiting=len(self.window.outstanding),
            last_receipt_ms=self.window.last_receipt_ms, refused=self.refused, fault=fault,
        )  # fmt: skip

    # -- how it fares -------------------------------------------------------------------------

    def _watch(self, now_ms: int) -> None:
        """Report an uplink without a receipt for ten minutes while something waits."""
        oldest = self.window.oldest_ms()
        behind = oldest is not None and now_ms - oldest >= BEHIND_MS
        if behind != self._is_behind:
            self._is_behind = behind
            waiting = self.fault or DeliveryError(
                "the hub has confirmed nothing for ten minutes",
                remedy="Nothing is lost. Look at the hub and the network between",
            )
            self._report(waiting if behind else None)

    def _save(self) -> None:
        try:
            self.progress.received.save(self._path, self._hub)
        except OSError as fault:
            log.warning("how far the hub has received cannot be kept: %s", fault)
