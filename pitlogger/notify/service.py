"""Notifying at work: listens to what happens, keeps the outbox, sends, sounds, lives visibly."""

from __future__ import annotations

import asyncio
import logging
from contextlib import suppress
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from pitlogger.config import MqttTable
from pitlogger.config_notify import AnyWay
from pitlogger.engine.inputs import Command
from pitlogger.errors import DeliveryError, PitloggerError, StoreError
from pitlogger.model.alerts import ANNUNCIATED, AlertState
from pitlogger.model.journal import AlertActed, TroubleChanged
from pitlogger.notify.alarm_bell import AlarmBell
from pitlogger.notify.alert_changes import all_standing, change_of, meant_for
from pitlogger.notify.alert_status import UnansweredAlert
from pitlogger.notify.connections import Beside, guarded, plans_of
from pitlogger.notify.courier import Courier
from pitlogger.notify.message import Message, compose
from pitlogger.notify.outbox import Outbox, Push
from pitlogger.notify.quiet import NEVER_QUIET, QuietHours
from pitlogger.notify.ways.make import make_way
from pitlogger.notify.ways.way import Way
from pitlogger.store.rows import Notice
from pitlogger.views.alert_words import standing_words
from pitlogger.views.alerts import lights
from pitlogger.views.fanout import Happening
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown

if TYPE_CHECKING:
    from pitlogger.notify.mqtt.session import StateSession

log = logging.getLogger(__name__)

TICK_S, IDLE_TICK_S = 0.2, 1.0
RECONCILE_EVERY_MS = 60_000
CATCH_UP_EVERY_MS = 2_000
UNREACHED_MS = 60_000  # after its first push
LEFT = "given up: this way is no longer configured"
STANDING = ""  # channel of the rows that hold what stands, beside those of the ways
_BY_BUTTON = "button"


class Notifier:
    """Tells people, for as long as ``run`` runs.

    Args:
        node: The daemon.
        ways: Stand-ins by way id, for tests; others are made from the configuration.
    """

    def __init__(self, node: Node, ways: dict[str, Way] | None = None) -> None:
        self.node = node
        self.outbox = Outbox()
        self.couriers: dict[str, Courier] = {}
        self.broker: StateSession | None = None
        self._given = ways or {}
        self._tables: dict[str, AnyWay] = {}
        self._mqtt: MqttTable | None = None
        self._bell = AlarmBell(self.acknowledge_all, self.report)
        self._beside = Beside(self.report)
        self._sending: set[asyncio.Task[None]] = set()
        self._reconciled_ms = self._caught_up_ms = 0
        self._restored = False
        self._configure()

    def _configure(self) -> None:
        """Take outbox, broker and ways from the configuration; what waits stays with its way."""
        table, mqtt = self.node.config.notify, self.node.config.mqtt
        broker = self.broker
        if mqtt != self._mqtt:
            broker = None
            if mqtt.enabled:
                from pitlogger.notify.mqtt.session import StateSession

                broker = StateSession(self.node)
        changed = {
            way.id: self._given.get(way.id) or make_way(way, broker)
            for way in table.way
            if way != self._tables.get(way.id) or (way.kind == "mqtt" and broker != self.broker)
        }
        self.broker, self._mqtt = broker, mqtt
        self.outbox.notices = frozenset(
            kind for kind, rule in self.node.policy.rules.items() if rule.notice
        )
        self.outbox.quiet = (
            NEVER_QUIET
            if table.quiet_from is None or table.quiet_to is None
            else QuietHours(table.quiet_from, table.quiet_to)
        )
        self.outbox.escalate_after_min = table.escalate_after_min
        self._tables = {way.id: way for way in table.way}
        for name in [name for name in self.couriers if name not in self._tables]:
            self.couriers.pop(name).close(LEFT)
        for name, way in changed.items():
            if name in self.couriers:
                self.couriers[name].use(way, self.node.clock.engine_ms())
            else:
                self.couriers[name] = Courier(name, way, self._save, self.report, self._engine_ms)

    async def reconfigure(self) -> None:
        """Go on as the node's configuration says now; nothing that waits is lost."""
        before = self._tables
        self._configure()
        for name, table in before.items():
            if self._tables.get(name) != table:
                self.report(name, None)  # what was wrong was wrong with the old settings
        self._bell.configure(self.node.config.notify.sounder)
        plans = plans_of(self.node, self.broker, self.report)
        await self._beside.arrange(plans)
        for name in ("mqtt", "heartbeat", "heartbeat-way"):
            if name not in plans:
                self.report(name, None)

    async def run(self) -> None:
        """Work until cancelled. What one part does wrong never stops another."""
        try:
            async with self.node.fanout.listen() as happenings:
                await self.reconfigure()
                await guarded("outbox", partial(self._work, happenings), self.report)
        finally:
            await self._beside.arrange({})
            for sending in self._sending:
                sending.cancel()
            self._bell.close()

    async def _work(self, happenings: asyncio.Queue[Happening]) -> None:
        await self.restore()
        while True:
            with suppress(TimeoutError):
                async with asyncio.timeout(TICK_S if self.outbox.standing else IDLE_TICK_S):
                    self.take(await happenings.get())
            while not happenings.empty():
                self.take(happenings.get_nowait())
            self.tick()

    # -- in -------------------------------------------------------------------------------

    async def restore(self) -> None:
        """Take up what an earlier run left, and bring it in line with the alerts as they are."""
        now_ms = self.node.clock.engine_ms()
        rows: list[Notice] = []
        if not self._restored:
            self._restored = True
            try:
                rows = await self.node.ask(lambda reader: reader.outbox())
            except StoreError as fault:
                log.warning("the outbox of the last run cannot be read: %s", fault)
        for row in sorted(rows, key=lambda row: (row.created_ms, row.id)):
            try:
                self._restore(row, now_ms)
            except (ValueError, KeyError, TypeError, AttributeError) as fault:
                log.error("a notice of the last run cannot be read: %s: %r", row.id, fault)
                self._save(replace(row, last_error="it could not be read any more", done=True))
        self.reconcile(now_ms)

    def _restore(self, row: Notice, now_ms: int) -> None:
        if row.channel == STANDING:
            self.outbox.restore([UnansweredAlert.load(row.body)])
        elif row.channel in self.couriers:
            self.couriers[row.channel].hand_in(Message.load(row.body), row, now_ms)
        else:
            self._save(replace(row, last_error=LEFT, done=True))

    def reconcile(self, now_ms: int) -> None:
        """Compare what stands with the engine's own alerts; events can be lost, these cannot."""
        self._reconciled_ms = now_ms
        watches = self.node.engine.state.watches.values()
        self.outbox.reconcile(all_standing(watches, self.node.policy, self.node.units))

    def take(self, happening: Happening) -> None:
        """Take what happened; only alerts matter here."""
        if (change := change_of(happening, self.node.units)) is not None:
            self.outbox.happened(change)

    # -- out ------------------------------------------------------------------------------

    def tick(self) -> None:
        """Do what is due now."""
        now_ms = self.node.clock.engine_ms()
        if now_ms - self._reconciled_ms >= RECONCILE_EVERY_MS:
            self.reconcile(now_ms)
        if now_ms - self._caught_up_ms >= CATCH_UP_EVERY_MS:
            self._caught_up_ms = now_ms
            watches = self.node.engine.state.watches.values()
            standing = all_standing(watches, self.node.policy, self.node.units)
            self.outbox.catch_up(standing)
        if hushed := self.outbox.take_hushed():
            for courier in self.couriers.values():
                courier.withdraw(hushed)
        self._look_who_is_reached(now_ms)
        rows: list[Notice] = []
        for push in self.outbox.due(now_ms, self._utc_ms(now_ms)):
            rows += self._hand_in(push, now_ms)
        rows += self._standing_rows(now_ms)
        if rows:
            self.node.store.append(notices=rows)
        for courier in self.couriers.values():
            if courier.has_due(now_ms):
                self._send(courier, now_ms)
        self._sound(now_ms)

    def _engine_ms(self) -> int:
        return self.node.clock.engine_ms()

    def _utc_ms(self, now_ms: int) -> int | None:
        """Return wall time, ``None`` where it is not known to be right."""
        watch = self.node.engine.state.watches.get("clock-unset/node")
        unset = watch is not None and watch.holds
        return None if unset else now_ms + self.node.utc_offset_ms

    def _hand_in(self, push: Push, now_ms: int) -> list[Notice]:
        """Give a push to the ways it concerns; return the rows to keep."""
        rows = []
        for way_id, courier in self.couriers.items():
            told = meant_for(self._tables[way_id], push)
            if push.kind == "repeated" and any(courier.carries(each.alert) for each in told):
                continue  # the last one has not got through yet: no pile of repeats
            if told:
                if push.kind != "returned":
                    told = [self._as_now(each, now_ms) for each in told]
                message = compose(push.kind, told, now_ms, self.node.utc_offset_ms)
                utc_ms = now_ms + self.node.utc_offset_ms
                row = Notice(
                    f"{message.id}@{way_id}", told[0].alert, way_id, message.dump(), utc_ms,
                    next_try_ms=utc_ms,
                )  # fmt: skip
                courier.hand_in(message, row, now_ms)
                rows.append(row)
        return rows

    def _as_now(self, each: UnansweredAlert, now_ms: int) -> UnansweredAlert:
        """Return an alert with its text as it is now: its value at the crossing and since."""
        watch = self.node.engine.state.watches.get(each.alert)
        if watch is None or watch.state is AlertState.NORMAL:
            return each
        shown = Shown(self.node.units, now_ms, self.node.utc_offset_ms)
        return replace(each, message=standing_words(self.node, watch, shown))

    def _look_who_is_reached(self, now_ms: int) -> None:
        """Let the next contact be told at once where no way to the first one takes a high alarm."""
        for alert in self.outbox.high_unanswered(now_ms - UNREACHED_MS):
            carrying = [
                courier.carries(alert)
                for way_id, courier in self.couriers.items()
                if self._tables[way_id].contact == "first"
            ]
            if all(carrying):
                self.outbox.unreached(alert)

    def _standing_rows(self, now_ms: int) -> list[Notice]:
        utc_ms = now_ms + self.node.utc_offset_ms
        return [
            Notice(
                f"standing/{alert}", alert, STANDING,
                "" if standing is None else standing.dump(), utc_ms, done=standing is None,
            )
            for alert, standing in self.outbox.take_changes().items()
        ]  # fmt: skip

    def _send(self, courier: Courier, now_ms: int) -> None:
        task = asyncio.create_task(
            courier.carry(now_ms, self.node.utc_offset_ms), name=f"notify-{courier.way_id}"
        )
        self._sending.add(task)
        task.add_done_callback(self._sent)

    def _sent(self, task: asyncio.Task[None]) -> None:
        self._sending.discard(task)
        if not task.cancelled() and (fault := task.exception()) is not None:
            name = task.get_name().removeprefix("notify-")
            log.error("way %s broke down", name, exc_info=fault)
            self.report(name, DeliveryError(f"it broke down: {fault!r}"))

    async def settle(self) -> None:
        """Wait until everything that is being sent now has been sent or has failed."""
        while self._sending:
            await asyncio.wait(self._sending)

    def _save(self, row: Notice) -> None:
        self.node.store.update_notice(row)

    def report(self, way_id: str, fault: DeliveryError | None) -> None:
        """Let the engine know that a way fails or works, so that it is shown and alarmed.

        Only what is new is entered: a broker that is away all night is no entry a minute.
        """
        message, remedy = ("", "") if fault is None else (fault.message, fault.remedy)
        watch = self.node.engine.state.watches.get(f"notify-failing/{way_id}")
        fails = watch is not None and (watch.holds or watch.pending_ms is not None)
        if fault is None and not fails:
            return
        if fails and watch is not None and (message, remedy) == (watch.detail, watch.detail_remedy):
            return
        changed = TroubleChanged("notify-failing", way_id, fault is not None, message, remedy)
        self.node.feed(Command(self.node.clock.engine_ms(), changed))

    # -- sounder --------------------------------------------------------------------------

    def _sound(self, now_ms: int) -> None:
        utc_ms = self._utc_ms(now_ms)
        quiet = utc_ms is not None and self.outbox.quiet.holds(utc_ms)
        heard = [
            each.priority
            for each in self.outbox.standing.values()
            if each.asks_a_hand and (each.wakes or not quiet)
        ]
        self._bell.sound(max(heard, default=None), self.node.is_well(), lights(self.node))

    def waiting(self) -> dict[str, int]:
        """Return how many messages wait, by way."""
        return {name: len(courier.waiting) for name, courier in self.couriers.items()}

    def oldest_s(self) -> dict[str, float]:
        """Return the age of the oldest message that waits, by way; 0 where none does."""
        now_ms = self.node.clock.engine_ms()
        return {
            name: (now_ms - min((one.since_ms for one in courier.waiting), default=now_ms)) / 1000
            for name, courier in self.couriers.items()
        }

    def why_unsent(self, alert: str, wakes: bool) -> str:
        """Return why no message about an alert has been made."""
        standing = self.outbox.standing.get(alert)
        if standing is None or standing.silenced:
            return tr("Nothing is to be sent about this.")
        if standing.pushes:
            return tr("Not sent: no way takes alerts of this priority or kind.")
        now_ms = self.node.clock.engine_ms()
        if not wakes and self.outbox.quiet.holds(now_ms + self.node.utc_offset_ms):
            return tr("Not sent yet: it waits for the end of the quiet hours.")
        return tr("About to be sent.")

    async def try_sounder(self) -> str | None:
        """Sound it briefly and return what should have been heard, ``None`` without one."""
        return await self._bell.try_out()

    def acknowledge_all(self) -> None:
        """Say "got it" to all that sounds, as the button does."""
        now_ms = self.node.clock.engine_ms()
        for watch in list(self.node.engine.state.watches.values()):
            if watch.state in ANNUNCIATED:
                with suppress(PitloggerError):
                    body = AlertActed(watch.key, "acknowledge")
                    self.node.feed(Command(now_ms, body, by=_BY_BUTTON))
