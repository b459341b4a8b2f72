"""The daemon: devices in, engine, store and listeners out, on one event loop.

The engine is stepped on the loop and never waits. Entries are told to listeners only once
they are on disk; an alarm is told after a quarter of a second at the latest, marked as not
yet on disk if it is not.
"""

from __future__ import annotations

import asyncio
import logging
import uuid
from collections.abc import Iterable
from concurrent.futures import Future
from pathlib import Path
from types import TracebackType
from typing import Any

from pitlogger import __version__
from pitlogger.bootstrap import (
    boot_id,
    buttons,
    channels_of,
    configured_devices,
    cook_id,
    forecast_answer,
    opening,
    past_run,
    policies_of,
    restore,
    routes,
    system_clock,
    units_of,
)
from pitlogger.clock import Clock
from pitlogger.config import Config
from pitlogger.devices.contract import Measurement, Memory, milli_units
from pitlogger.devices.memory import load_memories, save_memories
from pitlogger.devices.supervisor import Supervisor
from pitlogger.engine.buttons import press
from pitlogger.engine.feed import feed, ticks_until
from pitlogger.engine.inputs import (
    Command,
    ForecastRequest,
    ForecastResult,
    Input,
    Output,
    SteadyMass,
)
from pitlogger.engine.snapshot import dump_state, snapshot_version
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.errors import StoreError
from pitlogger.formats.journal_json import dump_entry
from pitlogger.formats.paper_journal import PaperCook as PastCook
from pitlogger.model.alerts import alert_class
from pitlogger.model.cooks import Channel
from pitlogger.model.journal import (
    AlertChanged,
    Body,
    CookStarted,
    DeviceChanged,
    Entry,
    ForecastSkipped,
    TroubleChanged,
    Undone,
)
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Reading, Tagged
from pitlogger.notify.fanout import Fanout, Happening
from pitlogger.notify.service import Notifier
from pitlogger.service.on_disk import on_disk
from pitlogger.service.reload import Difference, applicable, difference
from pitlogger.service.timekeeping import Start, Timekeeper
from pitlogger.store.rows import JournalRow, RunRow, Snapshot, Trouble
from pitlogger.store.store import Store
from pitlogger.yields.books import from_book
from pitlogger.yields.document import doubt_document
from pitlogger.yields.ledger import accounts

log = logging.getLogger(__name__)

TICK_S = 0.2
ALARM_TOLD_S = 0.25
SNAPSHOT_EVERY_MS = 5 * 60_000
SNAPSHOT_LEAST_S = 10.0
HEARTBEAT_S = 10.0
WELL_BEHIND_MS = 30_000


class Daemon:
    """One node at work, as an async context manager.

    Args:
        config: What to read and where to keep it.
        clock: Engine and wall time; the system's unless a simulator owns time.
    """

    def __init__(self, config: Config, clock: Clock | None = None) -> None:
        self.config = config
        self.policy, self.safety = policies_of(config)
        self.units = units_of(config)
        self.run = uuid.uuid4().hex[:12]
        self.fanout = Fanout()
        self.trouble: Trouble | None = None
        self._early_troubles: list[Trouble | None] = []
        self._has_begun = False
        self.cook: str | None = None
        self._finished_cook: str | None = None
        self.stopping = asyncio.Event()
        self.utc_offset_ms = 0
        self.clock: Clock
        self.timekeeper: Timekeeper
        self.engine: Engine
        self.store: Store
        self.supervisor: Supervisor
        self.channels: list[Channel] = []
        self._memories: dict[str, Memory] = {}
        self._given_clock = clock
        self._routes, self._buttons = routes(config), buttons(config)
        self._tagged: list[Tagged] = []
        self._forecasts: list[tuple[ForecastRequest, asyncio.Task[ForecastResult]]] = []
        self._told: set[asyncio.Task[None]] = set()
        self._tasks: list[asyncio.Task[None]] = []
        self._snapshot_ms = 0
        self._snapshot_s = 0.0
        self.notifier = Notifier(self)

    @property
    def _memory_file(self) -> Path:
        return self.config.node.data / "drivers.json"

    @property
    def socket(self) -> Path:
        """Where the command line reaches this daemon."""
        return self.config.socket

    # -- life -------------------------------------------------------------------------------

    async def __aenter__(self) -> Daemon:
        self._loop = asyncio.get_running_loop()
        self.config.node.data.mkdir(parents=True, exist_ok=True)
        self._memories = load_memories(self._memory_file)
        devices = configured_devices(self.config, self._memories)
        self.channels = channels_of(self.config, devices)
        await asyncio.to_thread(self._open, self.channels)
        self._begin()
        self.supervisor = Supervisor(self._on_measurement, self._on_status)
        for device in devices:
            self.supervisor.start(device)
        self._tasks.append(asyncio.create_task(self._tick_for_ever(), name="ticks"))
        self._tasks.append(asyncio.create_task(self.notifier.run(), name="notify"))
        return self

    def _open(self, channels: list[Channel]) -> None:
        """Open the store and bring the engine to where the last run ended."""
        path = self.config.database
        if self._given_clock is not None:
            self.clock = self._given_clock
            now_ms = self.clock.engine_ms()
            start = Start(now_ms, True, 0, self.clock.utc_ms() - now_ms)
        else:
            self.clock, start = system_clock(path, self.config.backups, boot_id())
        self.timekeeper = Timekeeper(self.run, self.clock, start)
        row = RunRow.begin(
            self.run, self.config.node.name, self.clock, __version__, utc_trusted=start.utc_trusted
        )
        self.store = Store.open(path, row, on_trouble=self._on_trouble, backups=self.config.backups)
        self.engine, self.cook = restore(self.store, self.run, start, self._engine_of)
        with self.store.reader() as reader:
            bodies = opening(reader, row, start, channels)
        self._begun = [Command(self.clock.engine_ms(), body) for body in bodies]
        for channel in channels:
            if channel.quantity is not None:
                self.store.describe(channel.id, channel.quantity)

    def _begin(self) -> None:
        """Enter the start of the run, and what was already wrong by then."""
        for command in self._begun:
            self.feed(command)
        self._has_begun = True
        for trouble in self._early_troubles:
            self._store_condition(trouble)
        self.utc_offset_ms = self.timekeeper.offset_ms
        for body in self.timekeeper.begin(self.store):
            self.feed(Command(self.clock.engine_ms(), body))

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stopping.set()
        await self.supervisor.__aexit__()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        for _, waiting in self._forecasts:
            waiting.cancel()
        self._save_snapshot()
        await asyncio.to_thread(self.store.close)
        await asyncio.gather(*self._told, return_exceptions=True)

    # -- in ---------------------------------------------------------------------------------

    def feed(self, given: Input) -> list[Entry]:
        """Hand one input to the engine now; return the journal entries it caused.

        Raises:
            UsageError: A command that cannot be used; nothing was changed.
            RefusedError: A command that is refused as things stand; nothing was changed.
        """
        entries: list[Entry] = []
        self._feed_forecasts(given.t_ms)
        for out in feed(self.engine, given):
            entries += self._take(out)
        return entries

    async def submit(self, body: Body, by: str = "", key: str = "") -> Entry:
        """Enter a decision and return its entry once it is on disk.

        The same idempotency key again returns the entry it caused the first time.

        Raises:
            UsageError: It cannot be used; nothing was changed.
            RefusedError: It is refused as things stand; nothing was changed.
        """
        if key and (known := self.engine.state.keys.get(key)) is not None:
            found: Entry | None = await self.ask(lambda reader: reader.entry(*known))
            if found is not None:
                return found
        entries = self.feed(Command(self.clock.engine_ms(), body, by, key))
        await on_disk(self.store.flush(), self.stopping)
        return entries[0]

    async def add_past(self, cooks: list[PastCook]) -> None:
        """Put cooks from a paper log on record, each as a run of its own, all or none."""
        runs = [past_run(cook, self.config.node.name) for cook in cooks]
        for run, rows in runs:
            await asyncio.wrap_future(self.store.add_run(run, rows, ()))

    def doubts_of(self, piece: str) -> list[dict[str, Any]]:
        """Return what looks wrong with the weighings of a piece: asked, never refused."""
        records = [record for record in from_book(self.engine.book) if record.piece == piece]
        return [doubt_document(doubt) for account in accounts(records) for doubt in account.doubts]

    def keeps_up(self) -> bool:
        """Return whether the engine keeps up with its clock."""
        behind_ms = self.clock.engine_ms() - self.engine.state.t_ms
        return behind_ms < WELL_BEHIND_MS or not self._tasks

    def is_well(self) -> bool:
        """Return whether the engine ticks and the store writes."""
        return self.trouble is None and self.keeps_up()

    async def reload(self, config: Config) -> Difference:
        """Go on with what can be applied of another configuration; return what it was.

        Raises:
            PitloggerError: It cannot be used; the old one stays.
        """
        found = difference(self.config, config)
        config = applicable(self.config, config)
        devices = configured_devices(config, self._memories)
        channels = channels_of(config, devices)
        self.policy, self.safety = policies_of(config)
        self.config, self.units = config, units_of(config)
        self._routes, self._buttons = routes(config), buttons(config)
        self.channels = channels
        self.engine = self._engine_of(self.engine.state)
        for name in found.stopped:
            await self.supervisor.stop(name)
        for device in devices:
            if device.id in found.started:
                self.supervisor.start(device)
        return found

    def _engine_of(self, state: EngineState) -> Engine:
        return Engine(state, self.policy, self.units, self.channels, self.safety)

    async def next_happening(self, queue: asyncio.Queue[Happening]) -> Happening | None:
        """Return what happens next, ``None`` when nothing did for ten seconds or on stopping."""
        waiting = asyncio.create_task(queue.get())
        stopping = asyncio.create_task(self.stopping.wait())
        try:
            await asyncio.wait(
                {waiting, stopping}, timeout=HEARTBEAT_S, return_when=asyncio.FIRST_COMPLETED
            )
            return waiting.result() if waiting.done() else None
        finally:
            waiting.cancel()
            stopping.cancel()

    async def ask(self, question: Any) -> Any:
        """Put a question to the store's reader thread and return the answer."""
        return await asyncio.wrap_future(self.store.ask(question))

    def _on_measurement(self, device: str, measured: Measurement) -> None:
        if measured.quantity is Quantity.BUTTON:  # an event, not the state of anything
            bound = self._buttons.get((device, measured.channel, int(measured.value or 0)))
            if bound is not None:
                press(self.engine, bound, self.clock.engine_ms(), self.feed)
            return
        channel = (
            self._routes.get((device, measured.channel))
            or self._routes.get((device, ""))
            or f"{device}/{measured.channel}"
        )
        value = None
        if measured.value is not None:
            value = milli_units(measured.value, measured.unit)
        self.feed(
            Reading(channel, self.clock.engine_ms(), value, measured.quality, measured.stable)
        )

    def _on_status(self, device: str, status: Any, message: str = "", remedy: str = "") -> None:
        self.feed(Command(self.clock.engine_ms(), DeviceChanged(device, status, message, remedy)))

    def _on_trouble(self, trouble: Trouble | None) -> None:
        self._loop.call_soon_threadsafe(self._store_condition, trouble)

    def _store_condition(self, trouble: Trouble | None) -> None:
        self.trouble = trouble
        if not self._has_begun:
            self._early_troubles.append(trouble)  # ``_begin`` tells
            return
        message, remedy = ("", "") if trouble is None else (trouble.message, trouble.remedy)
        changed = TroubleChanged("store-failing", "node", trouble is not None, message, remedy)
        self.feed(Command(self.clock.engine_ms(), changed))

    # -- out --------------------------------------------------------------------------------

    def _take(self, out: Iterable[Output]) -> list[Entry]:
        entries: list[Entry] = []
        for output in out:
            if type(output) is Tagged:
                self._tagged.append(output)
            elif isinstance(output, Entry):
                entries.append(output)
            elif isinstance(output, ForecastRequest):
                self._forecast(output)
            elif isinstance(output, SteadyMass):
                self.fanout.publish(Happening("steady", {
                    "channel": output.channel,
                    "mass_g": None if output.mass_mg is None else output.mass_mg / 1000,
                }))  # fmt: skip
        if entries:
            self._journal(entries)
        return entries

    def _journal(self, entries: list[Entry]) -> None:
        rows = []
        for entry in entries:
            if isinstance(entry.body, CookStarted):
                self.cook = cook_id(entry.body.cook.name, entry.t_ms + self.utc_offset_ms)
            elif self.cook is None and isinstance(entry.body, Undone):
                self.cook = self._finished_cook  # finishing it may be what is taken back
            rows.append(JournalRow.of(entry, self.cook))
            if self.engine.book.finished_ms is not None:
                self._finished_cook, self.cook = self.cook or self._finished_cook, None
        done = self.store.append(entries=rows)
        task = asyncio.create_task(self._tell(entries, done), name="tell")
        self._told.add(task)
        task.add_done_callback(self._told.discard)

    async def _tell(self, entries: list[Entry], done: Future[None]) -> None:
        """Tell listeners of entries once they are on disk; of alarms after 250 ms anyway."""
        on_disk = asyncio.wrap_future(done)
        early: set[int] = set()
        try:
            await asyncio.wait_for(asyncio.shield(on_disk), ALARM_TOLD_S)
        except TimeoutError:
            for entry in entries:
                if (
                    isinstance(entry.body, AlertChanged)
                    and alert_class(entry.body.alert_kind) == "alarm"
                ):
                    self._publish(entry, on_disk=False)
                    early.add(entry.seq)
            try:
                await on_disk
            except StoreError as refusal:  # the daemon ends and the disk never took them
                log.error("%d journal entries were not written: %s", len(entries), refusal)
                return
        for entry in entries:
            if entry.seq not in early:
                self._publish(entry, on_disk=True)

    def _publish(self, entry: Entry, on_disk: bool) -> None:
        data = {**dump_entry(entry), "utc_ms": entry.t_ms + self.utc_offset_ms, "on_disk": on_disk}
        kind = "alert" if isinstance(entry.body, AlertChanged) else "entry"
        self.fanout.publish(Happening(kind, data, f"{entry.run}/{entry.seq}"))

    # -- time -------------------------------------------------------------------------------

    async def _tick_for_ever(self) -> None:
        while True:
            await asyncio.sleep(TICK_S)
            now_ms = self.clock.engine_ms()
            self.tick(now_ms)

    def tick(self, now_ms: int) -> None:
        """Let engine time come to ``now_ms``; keep readings and the snapshot as they fall due."""
        self._feed_forecasts(now_ms)
        for out in ticks_until(self.engine, now_ms):
            self._take(out)
        self._watch_clock(now_ms)
        self._keep_readings()
        if (
            now_ms - self._snapshot_ms >= SNAPSHOT_EVERY_MS
            and self._loop.time() - self._snapshot_s >= SNAPSHOT_LEAST_S
        ):
            self._save_snapshot()

    def _watch_clock(self, now_ms: int) -> None:
        bodies = self.timekeeper.look(now_ms, self.store)
        self.utc_offset_ms = self.timekeeper.offset_ms
        for body in bodies:
            self.feed(Command(now_ms, body))

    def _keep_readings(self) -> None:
        if self._tagged:
            self.store.add_readings(self._tagged)
            self._tagged = []

    def _save_snapshot(self) -> None:
        self._snapshot_ms, self._snapshot_s = self.engine.state.t_ms, self._loop.time()
        self._keep_readings()
        save_memories(self._memory_file, self._memories)
        body = dump_state(self.engine.state)
        self.store.save_snapshot(
            Snapshot(self.run, self.engine.state.t_ms, snapshot_version(), body)
        )

    # -- forecasts --------------------------------------------------------------------------

    def _forecast(self, request: ForecastRequest) -> None:
        answer = forecast_answer(self.engine, request)
        task = asyncio.create_task(asyncio.to_thread(answer), name="forecast")
        self._forecasts.append((request, task))

    def _feed_forecasts(self, now_ms: int) -> None:
        """Hand in the forecasts that are due; one that is not ready is journalled as skipped."""
        while self._forecasts and self._forecasts[0][0].due_ms <= now_ms:
            request, task = self._forecasts.pop(0)
            if task.done() and task.exception() is None:
                result = task.result()
            else:
                reason = "not ready in time" if not task.done() else str(task.exception())
                task.cancel()
                result = ForecastResult(
                    request.due_ms,
                    ForecastSkipped(request.piece, request.target, request.requested_ms, reason),
                )
            for out in feed(self.engine, result):
                self._take(out)
