"""The uplink at work: sends what the record holds and the hub has not, for as long as it runs.

Nothing is kept beside the record. What has no receipt is sent again; only the hub's word that
it is in its database moves the position. A node whose hub is away for days goes on as ever.
"""

from __future__ import annotations

import asyncio
import logging
import random
import secrets
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from pitlogger.errors import DeliveryError, StoreError
from pitlogger.formats.bundle import Bundle, dump_bundle
from pitlogger.formats.cose import sign
from pitlogger.store.queries import Reader
from pitlogger.uplink.carrier import COPIED, Carrier, CarrierEvent, HubAnswer
from pitlogger.uplink.contents import Next, before_runs, fitting, next_bundle, of_run
from pitlogger.uplink.flush import WITH_SPANS, Flush, offset_of
from pitlogger.uplink.join import keep_certificate
from pitlogger.uplink.now import now_of
from pitlogger.uplink.position import Position, Progress
from pitlogger.uplink.window import NEVER_MS, Window
from pitlogger.views.fanout import Happening
from pitlogger.views.node import Node
from pitlogger.views.uplink import UplinkStatus

log = logging.getLogger(__name__)

REST_S = 1.0, 600.0  # least and most between two looks at what is due
BEHIND_MS = 600_000  # without a receipt, while something waits for one
SAVE_MS = 600_000  # after a kill, what was confirmed since is sent once more
ALL_RUNS_MS = 600_000
HELD_EVERY_MS = 86_400_000  # and whenever the hub's connection to its database is a new one
POSITION_FILE = "uplink-position.json"


Found = TypeVar("Found")
Report = Callable[[DeliveryError | None], None]


class Uplink:
    """Sends the record of a node to one hub.

    Args:
        node: The node.
        key: Of the node; signs each bundle.
        carrier: The way to the hub.
        data: Folder of the file that holds the position.
        hub: Id of the hub as it was given when joining.
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
        self.contradicted: set[str] = set()
        self.fault: DeliveryError | None = None
        self._is_cloned = False
        # Far from those of any other life, whose late receipts must confirm nothing of this one.
        self._number = secrets.randbits(40) << 20
        self._events: deque[CarrierEvent] = deque()
        self._wake = asyncio.Event()
        self._timer: asyncio.TimerHandle | None = None
        self._lives: set[str] = set()
        self._held_due_ms = NEVER_MS  # the first answer says of what life it is
        self._is_fitted = False
        self._again: set[str] = set()
        self._row: Bundle | None = None  # of this life, as it was after the last entry
        self._paused_ms = 0
        self._saved_ms = self._all_runs_ms = 0
        self._wrong = (False, False)
        carrier.report = self._came

    async def run(self, happenings: asyncio.Queue[Happening]) -> None:
        """Work until cancelled. ``happenings`` brings what is entered at the node."""
        beside = [
            asyncio.create_task(self._carrier.run(), name="uplink-carrier"),
            asyncio.create_task(self._listen(happenings), name="uplink-listens"),
        ]
        try:
            while True:
                self._wake.clear()
                self._rest_no_more()
                now_ms = self._node.clock.engine_ms()
                while self._events:
                    self._take(self._events.popleft(), now_ms)
                await self.step(now_ms)
                self._rest(now_ms)
                await self._wake.wait()
        finally:
            self._rest_no_more()
            for task in beside:
                task.cancel()
            await asyncio.gather(*beside, return_exceptions=True)
            self._save()

    def rest_s(self, now_ms: int) -> float:
        """Return how long nothing is due, unless something is entered or comes.

        Looking each second would cost the node more than all that it sends.
        """
        due_ms = self.window.next_due_ms()
        if self.window.has_room:
            due_ms = min(due_ms, self.flush.due_ms())
        least_s, most_s = REST_S
        return min(max((max(due_ms, self._paused_ms) - now_ms + 1) / 1000, least_s), most_s)

    def _rest(self, now_ms: int) -> None:
        """Rest until something is due."""
        self._rest_no_more()
        loop = asyncio.get_running_loop()
        self._timer = loop.call_later(self.rest_s(now_ms), self._is_due)

    def _rest_no_more(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _is_due(self) -> None:
        """Say how things stand, where no more is due and nothing has to be read; else wake."""
        now_ms, flush = self._node.clock.engine_ms(), self.flush
        is_more = (
            flush.wants_spans(now_ms) or flush.wants_entries(now_ms) or self._events
            or self.window.next_due_ms() <= now_ms or not self.window.has_room
            or now_ms < self._paused_ms or self._again or self._wake.is_set()
        )  # fmt: skip
        row = self._known_row(now_ms)
        if is_more or row is None or not flush.wants_now(now_ms):
            self._wake.set()
        else:
            self._rest(now_ms)  # where what follows fails, it is looked at again all the same
            self._send(self._standing(row, now_ms), now_ms)
            self._rest(now_ms)

    async def _listen(self, happenings: asyncio.Queue[Happening]) -> None:
        while True:
            data = (await happenings.get()).data
            kind = str(data.get("kind", ""))
            if kind and kind not in WITH_SPANS:
                # An alarm may be heard of before it is on disk, where the hub's is read from.
                soon = kind if data.get("on_disk", True) else ""
                self._row = None
                now_ms = self._node.clock.engine_ms()
                self.flush.entered(soon, now_ms)
                if self._timer is None or self.flush.wants_entries(now_ms):
                    self._wake.set()
                else:
                    self._rest(now_ms)

    def _came(self, event: CarrierEvent) -> None:
        now_ms = self._node.clock.engine_ms()
        if self._timer is not None and self._is_plain(event):
            self._take(event, now_ms)
            self._rest(now_ms)
        else:
            self._events.append(event)
            self._wake.set()

    def _is_plain(self, event: CarrierEvent) -> bool:
        """Return whether it is a receipt and no more, after which nothing is to be done at once.

        Nearly all are, and to wake for each would cost as much as what was sent.
        """
        answer = event.answer
        if answer is None or self._events or not self.window.has_room or any(self._wrong):
            return False
        return answer.is_receipt and answer.hub == self._hub and answer.life in self._lives

    async def step(self, now_ms: int) -> None:
        """Send again what is due, then what is new and due, as far as the window has room."""
        await self._set_back(now_ms)
        if now_ms >= self._paused_ms:
            for one in self.window.due(now_ms):
                self._carrier.send(one.number, one.body)
            await self._send_new(now_ms)
        self._watch(now_ms)
        if now_ms - self._saved_ms >= SAVE_MS:
            self._saved_ms = now_ms
            self._save()

    async def _send_new(self, now_ms: int) -> None:
        spans = self.flush.wants_spans(now_ms)
        all_runs = spans and now_ms - self._all_runs_ms >= ALL_RUNS_MS
        if spans or self.flush.wants_entries(now_ms):
            more = True
            while more and self.window.has_room:
                self.flush.looked(now_ms, spans=spans)  # what is entered meanwhile is due anew
                found = await self._next(spans, all_runs)
                if more := found is not None and found.more:
                    self.flush.more(now_ms, spans=spans)
                if found is not None:
                    self.progress.send(found.bundle.number, found.after)
                    self._send(self._with_now(found.bundle, now_ms), now_ms)
            if all_runs and not more:
                self._all_runs_ms = now_ms
        if self.window.has_room and self.flush.wants_now(now_ms):
            self._send(await self._now(now_ms), now_ms)

    def _with_now(self, bundle: Bundle, now_ms: int) -> Bundle:
        """Return a bundle of this life that says how things stand too: a send less each minute."""
        if bundle.run != self._node.run:
            return bundle
        self._row = replace(bundle, spans=(), entries=(), lost=())
        if not self.flush.may_say_now(now_ms):
            return bundle
        self.flush.now_sent(now_ms)
        return replace(bundle, now=now_of(self._node.engine, self._node.cook, now_ms))

    def _known_row(self, now_ms: int) -> Bundle | None:
        """Return the run's part of a bundle, where nothing has to be read for one."""
        return self._row if now_ms < self._held_due_ms else None

    def _standing(self, row: Bundle, now_ms: int) -> Bundle:
        self.flush.now_sent(now_ms)
        now = now_of(self._node.engine, self._node.cook, now_ms)
        return replace(row, number=self._new_number(), now=now)

    async def _now(self, now_ms: int) -> Bundle:
        """Return a bundle that only says how things stand, and at times what was confirmed."""
        row = self._known_row(now_ms)
        if row is None:
            confirmed = self.progress.received if now_ms >= self._held_due_ms else None
            if confirmed is not None:
                self._held_due_ms = now_ms + HELD_EVERY_MS
            node = self._node
            row = await node.ask(lambda reader: of_run(reader, node.uid, node.run, confirmed))
            self._row = replace(row, held=())
        return self._standing(row, now_ms)

    async def _next(self, spans: bool, all_runs: bool) -> Next | None:
        number, sent = self._new_number(), self.progress.sent
        return await self._asked(lambda reader: next_bundle(
            reader, self._node.uid, number, sent, spans=spans, all_runs=all_runs
        ))  # fmt: skip

    def _new_number(self) -> int:
        self._number += 1
        return self._number

    def _send(self, bundle: Bundle, now_ms: int) -> None:
        body = sign(dump_bundle(bundle), self._key, self._node.uid)
        self.window.sent(bundle.number, body, now_ms)
        self._carrier.send(bundle.number, body)

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
        self._is_cloned = answer.cloned
        self.fault = COPIED if answer.cloned else None
        ended = [*((number, "") for number in answer.received), *answer.refused]
        for number, reason in ended:
            if self.window.receipt(number, now_ms):
                self.progress.receive(number)
                if reason:  # the hub keeps it apart; it must not hold up the rest
                    self.refused += 1
                    log.error("the hub set bundle %d aside: %s", number, reason)
        self._again |= set(answer.lacks)
        for what in set(answer.contradicted) - self.contradicted:
            log.error(
                "the hub has %s already and it says something else there: a copied card?", what
            )
        self.contradicted |= set(answer.contradicted)
        if answer.life and answer.life not in self._lives:
            self._lives.add(answer.life)
            self._held_due_ms = self.flush.now_due_ms = now_ms
        if answer.hub != self._hub:
            log.warning("the hub was set up anew: all of the record is sent again")
            self._hub = answer.hub
            self._start_over(Position(), now_ms)
        try:
            if answer.certificate is not None:
                keep_certificate(self._path.parent, answer.certificate)
            if answer.offer is not None and self._offer is not None:
                self._offer(answer.offer)
        except OSError as fault:
            log.warning("the certificate or the offer of the hub cannot be kept: %s", fault)

    async def _set_back(self, now_ms: int) -> None:
        """Go back to where the record's file is, or to what the hub has lost since."""
        received, again = self.progress.received, self._again
        if not self._is_fitted:
            fitted = await self._asked(lambda reader: fitting(reader, received))
            if fitted is None:
                return
            self._is_fitted = True
            self.progress = Progress(fitted)
        elif again:
            back = await self._asked(lambda reader: before_runs(reader, received, again))
            if back is not None:
                log.warning("the hub was restored: %d runs are sent again", len(again))
                self._again = set()
                self._start_over(back, now_ms)

    async def _asked(self, question: Callable[[Reader], Found | None]) -> Found | None:
        try:
            return await self._node.ask(question)
        except StoreError as fault:
            log.warning("the record cannot be read for the hub: %s", fault)
            return None

    def _start_over(self, position: Position, now_ms: int) -> None:
        self.progress = Progress(position)
        self.window.outstanding.clear()
        self.flush.entries_due_ms = self.flush.spans_due_ms = now_ms
        self._all_runs_ms = 0
        self._save()

    def status(self, where: str) -> UplinkStatus:
        """Return how it fares."""
        fault = None if self.fault is None else str(self.fault)
        return UplinkStatus(
            uid=self._node.uid, hub=where, waiting=len(self.window.outstanding),
            last_receipt_ms=self.window.last_receipt_ms, refused=self.refused,
            contradicted=len(self.contradicted), fault=fault,
        )  # fmt: skip

    # -- how it fares -------------------------------------------------------------------------

    def _watch(self, now_ms: int) -> None:
        """Report a copied card, or no receipt for ten minutes while something waits."""
        oldest = self.window.oldest_ms()
        is_behind = oldest is not None and now_ms - oldest >= BEHIND_MS
        wrong = (is_behind, self._is_cloned)
        if wrong != self._wrong:
            self._wrong = wrong
            waiting = self.fault or DeliveryError(
                "the hub has confirmed nothing for ten minutes",
                remedy="Nothing is lost. Look at the hub and the network between",
            )
            self._report(waiting if any(wrong) else None)

    def _save(self) -> None:
        try:
            self.progress.received.save(self._path, self._hub)
        except OSError as fault:
            log.warning("how far the hub has received cannot be kept: %s", fault)
