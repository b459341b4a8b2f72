"""The daemon: devices in, engine, store and listeners out, on one event loop.

The engine is stepped on the loop and never waits. Each part that works for the daemon has a
module of its own: ``intake``, ``journalling``, ``keeping``, ``forecasting``, ``troubles``.
"""

from __future__ import annotations

import asyncio
import logging
import sqlite3
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import replace
from functools import partial
from pathlib import Path

from pitlogger import __version__
from pitlogger.bootstrap.cooks import past_run, with_id
from pitlogger.bootstrap.devices import channels_of, configured_devices
from pitlogger.bootstrap.policies import policies_of, units_of
from pitlogger.bootstrap.starting import boot_id, opening, restore, system_clock
from pitlogger.clock import Clock, utc_ms
from pitlogger.config import Config
from pitlogger.devices.supervisor import Supervisor
from pitlogger.engine.feed import feed, ticks_until
from pitlogger.engine.inputs import (
    Command,
    ForecastRequest,
    Input,
    Output,
    SteadyMass,
)
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.errors import StoreError
from pitlogger.files import settle_files
from pitlogger.formats.paper_journal import PaperCook as PastCook
from pitlogger.model.cooks import Channel
from pitlogger.model.journal import Body, ChannelAssigned, CookStarted, Entry, TroubleChanged
from pitlogger.model.readings import Tagged
from pitlogger.node.decisions import Decisions
from pitlogger.node.forecasting import Forecasting, taught_by
from pitlogger.node.identity import issue_run, node_uid
from pitlogger.node.intake import Intake
from pitlogger.node.journalling import Journalling
from pitlogger.node.keeping import Keeping
from pitlogger.node.pace import REMEDY, LoopPace
from pitlogger.node.troubles import Troubles
from pitlogger.node.uplinking import UplinkRunner
from pitlogger.notify.service import Notifier
from pitlogger.service.on_disk import on_disk
from pitlogger.service.reload import ConfigDifference, applicable, difference
from pitlogger.service.timekeeping import KNOWN_AFTER_MS, Start, Timekeeper
from pitlogger.store.mending.preparing import prepare
from pitlogger.store.queries import Reader
from pitlogger.store.record_lock import RecordLock
from pitlogger.store.rows import RunRow, Trouble
from pitlogger.store.store import Store
from pitlogger.views.fanout import Fanout, Happening
from pitlogger.views.language import speak
from pitlogger.views.node import Answer

log = logging.getLogger(__name__)

TICK_S = 0.2
WELL_BEHIND_MS = 30_000
FILES_S = 1.0  # that a daemon which ends waits for its small files


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
        self.run = self.uid = ""  # known once it is opened
        self.fanout = Fanout()
        self.finished_cook: str | None = None
        self.stopping = asyncio.Event()
        self.utc_offset_ms = 0
        self.clock: Clock
        self.timekeeper: Timekeeper
        self.troubles: Troubles
        self.engine: Engine
        self.store: Store
        self.supervisor: Supervisor
        self.channels: list[Channel] = []
        self._given_clock = clock
        self._tasks: list[asyncio.Task[None]] = []
        self.decisions = Decisions(self)
        self.intake: Intake = Intake(self)
        self.journalling: Journalling = Journalling(self, self.decisions)
        self.keeping: Keeping = Keeping(self)
        self.forecasting: Forecasting = Forecasting(self)
        self.notifier: Notifier = Notifier(self)
        self.uplinking: UplinkRunner = UplinkRunner(self)
        self.pace = LoopPace()

    @property
    def socket(self) -> Path:
        """Where the command line reaches this daemon."""
        return self.config.socket

    @property
    def cooks(self) -> tuple[str, ...]:
        """The ids of the open cooks, the newest last."""
        return tuple(self.engine.book.open_cooks())

    @property
    def cook(self) -> str | None:
        """The id of the newest open cook, ``None`` without one."""
        return next(reversed(self.cooks), None)

    @property
    def trouble(self) -> Trouble | None:
        """What keeps the store from writing, ``None`` while it writes."""
        return self.troubles.standing

    # -- life -------------------------------------------------------------------------------

    async def __aenter__(self) -> Daemon:
        self._loop = asyncio.get_running_loop()
        self.troubles = Troubles(self)
        speak(self.config.units.language, self.config.languages)
        self._lock = RecordLock.take(self.config.database, utc_ms())
        try:
            return await self._start()
        except BaseException:
            self._lock.release()
            raise

    async def _start(self) -> Daemon:
        with suppress(OSError):  # a disk that takes nothing: the store tells
            self.config.node.data.mkdir(parents=True, exist_ok=True)
        self.keeping.load_memories()
        devices = configured_devices(self.config, self.keeping.memories)
        self.channels = channels_of(self.config, devices)
        self.intake.configure(self.config, self.channels)
        await asyncio.to_thread(self._open, self.channels)
        self._begin()
        self.supervisor = Supervisor(self.intake.measured, self.intake.changed)
        for device in devices:
            self.supervisor.start(device)
        self._tasks.append(asyncio.create_task(self._tick_for_ever(), name="ticks"))
        self._tasks.append(asyncio.create_task(self.notifier.run(), name="notify"))
        self.uplinking.start()
        return self

    def _open(self, channels: list[Channel]) -> None:
        """Open the store and bring the engine to where the last run ended."""
        path = self.config.database
        prepared = prepare(path, self.config.backups)
        self.uid = node_uid(self.config.node.data)
        self.run = issue_run(self.config.node.data, path)
        if self._given_clock is not None:
            self.clock = self._given_clock
            now_ms, utc_ms = self.clock.engine_ms(), self.clock.utc_ms()
            start = Start(now_ms, utc_ms >= KNOWN_AFTER_MS, 0, utc_ms - now_ms)
        else:
            self.clock, start = system_clock(path, self.config.backups, boot_id())
        self.timekeeper = Timekeeper(self.run, self.clock, start)
        row = RunRow.begin(
            self.run, self.config.node.name, self.clock, __version__,
            utc_trusted=start.utc_trusted, node_uid=self.uid,
        )  # fmt: skip
        self.store = Store.open(
            path, row, on_trouble=self.troubles.on_trouble, on_mended=self.troubles.on_mended,
            prepared=prepared, backups=self.config.backups,
        )  # fmt: skip
        self.engine = restore(self.store, self.run, start, self._engine_of, self.troubles.on_mended)
        bodies = opening(None, row, start, channels)
        with suppress(StoreError, sqlite3.Error), self.store.reader() as reader:
            bodies = opening(reader, row, start, channels)
            self.forecasting.remember(taught_by(reader))
        self._begun = [Command(self.clock.engine_ms(), body) for body in bodies]
        for channel in channels:
            if channel.quantity is not None:
                self.store.describe(channel.id, channel.quantity)

    def _begin(self) -> None:
        """Enter the start of the run, and what was already wrong by then."""
        for command in self._begun:
            self.feed(command)
        self.troubles.begin()
        self.utc_offset_ms = self.timekeeper.offset_ms
        for body in self.timekeeper.begin(self.store):
            self.feed(Command(self.clock.engine_ms(), body))

    async def __aexit__(self, *raised: object) -> None:
        self.stopping.set()
        await self.uplinking.stop()
        await self.supervisor.__aexit__()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await self.forecasting.stop()
        self.keeping.save_all()
        await asyncio.to_thread(self.store.close)
        await self.journalling.stop()
        await asyncio.to_thread(settle_files, FILES_S)
        self._lock.release()

    async def broken(self) -> None:
        """Wait until a part that must never end does; raise what ended it."""
        done, _ = await asyncio.wait(self._tasks, return_when=asyncio.FIRST_COMPLETED)
        for task in done:
            task.result()

    # -- in ---------------------------------------------------------------------------------

    def feed(self, given: Input) -> list[Entry]:
        """Hand one input to the engine now; return the journal entries it caused.

        Raises:
            UsageError: A command that cannot be used; nothing was changed.
            RefusedError: A command that is refused as things stand; nothing was changed.
        """
        entries: list[Entry] = []
        if isinstance(given, Command) and isinstance(given.body, CookStarted):
            given = replace(given, body=with_id(given.body, given.t_ms + self.utc_offset_ms))
        self._feed_forecasts(given.t_ms)
        past = given.past if isinstance(given, Command) else ""
        for out in feed(self.engine, given):
            with self.journalling.under(past):
                entries += self._take(out)
        if isinstance(given, Command) and entries:
            self.forecasting.follow(given)
        return entries

    def meet(self, channel: Channel) -> None:
        """Take up what a channel measures, where the configuration does not say."""
        self.channels = [known for known in self.channels if known.id != channel.id] + [channel]
        self.engine.know(channel)
        if channel.quantity is not None:
            self.store.describe(channel.id, channel.quantity)
        held = self.engine.book.assignment(channel.id)
        if not self.cooks or (held is not None and held.channel.quantity is not None):
            return
        assigned = channel if held is None else replace(held.channel, quantity=channel.quantity)
        body = ChannelAssigned(assigned, lead=held is not None and held.lead)
        self.feed(Command(self.clock.engine_ms(), body))

    async def submit(self, body: Body, by: str = "", key: str = "", past: str = "") -> Entry:
        """Enter a decision and return its entry, as ``Decisions.enter`` does.

        ``past`` is the id of a finished cook that it belongs to; it was judged against the
        journal of that cook.
        """
        return await self.decisions.enter(body, by, key, past)

    async def flushed(self) -> None:
        """Wait until all that was entered so far is on disk."""
        await on_disk(self.store.flush(), self.stopping)

    async def earlier(self, key: str) -> Entry | None:
        """Return what a request with this key became, ``None`` for a new one."""
        return await self.decisions.earlier(key)

    def is_on_disk(self, entry: Entry) -> bool:
        """Return whether the disk has taken an entry."""
        return self.decisions.is_on_disk(entry)

    async def add_past(self, cooks: list[PastCook]) -> None:
        """Put cooks from a paper log on record, each as a run of its own, all or none."""
        runs = [past_run(cook, self.config.node.name) for cook in cooks]
        await asyncio.wrap_future(self.store.add_runs(runs))

    def keeps_up(self) -> bool:
        """Return whether the engine keeps up with its clock."""
        behind_ms = self.clock.engine_ms() - self.engine.state.t_ms
        return behind_ms < WELL_BEHIND_MS or not self._tasks

    def held_up_s(self) -> float:
        """Return by how much the loop came late, at most, in the last minutes."""
        return self.pace.worst_s(self._loop.time())

    def is_well(self) -> bool:
        """Return whether the engine ticks and the store writes."""
        return self.trouble is None and self.keeps_up()

    async def reload(self, config: Config) -> ConfigDifference:
        """Go on with what can be applied of another configuration; return what it was.

        Raises:
            PitloggerError: It cannot be used; the old one stays.
        """
        speak(config.units.language, config.languages)
        found = difference(self.config, config)
        config = applicable(self.config, config)
        devices = configured_devices(config, self.keeping.memories)
        channels = channels_of(config, devices)
        self.policy, self.safety = policies_of(config)
        self.config, self.units = config, units_of(config)
        self.intake.configure(config, channels)
        self.channels = channels
        self.engine = self._engine_of(self.engine.state)
        for name in found.stopped:
            await self.supervisor.stop(name)
        for device in devices:
            if device.id in found.started:
                self.supervisor.start(device)
        await self.notifier.reconfigure()
        return found

    def _engine_of(self, state: EngineState) -> Engine:
        return Engine(state, self.policy, self.units, self.channels, self.safety)

    async def forget(self, device: str) -> None:
        """Forget what is remembered of a device, and begin with it anew."""
        await self.supervisor.restart(device, partial(self.keeping.forget, device))

    async def ask(self, question: Callable[[Reader], Answer]) -> Answer:
        """Put a question to the store's reader thread and return the answer."""
        return await asyncio.wrap_future(self.store.ask(question))

    def tell_trouble(self, subject: str, message: str, remedy: str) -> None:
        """Tell of something that was wrong with our files and is mended."""
        self.troubles.tell(subject, message, remedy)

    def tell_closed(self, way_in: str, trouble: Trouble | None) -> None:
        """Tell why page, socket or hub cannot be opened, ``None`` once it is."""
        self.troubles.tell_closed(way_in, trouble)

    # -- out --------------------------------------------------------------------------------

    def _take(self, out: Iterable[Output]) -> list[Entry]:
        entries: list[Entry] = []
        for output in out:
            if type(output) is Tagged:
                self.keeping.take(output)
            elif isinstance(output, Entry):
                entries.append(output)
            elif isinstance(output, ForecastRequest):
                self.forecasting.ask(output)
            elif isinstance(output, SteadyMass):
                self.fanout.publish(Happening("steady", {
                    "channel": output.channel,
                    "mass_g": None if output.mass_mg is None else output.mass_mg / 1000,
                }))  # fmt: skip
        if entries:
            self.journalling.keep(entries)
        return entries

    # -- time -------------------------------------------------------------------------------

    async def _tick_for_ever(self) -> None:
        while True:
            due_s = self._loop.time() + TICK_S
            await asyncio.sleep(TICK_S)
            now_s, now_ms = self._loop.time(), self.clock.engine_ms()
            self._pace_changed(self.pace.came(now_s - due_s, now_s), now_s)
            self.tick(now_ms)

    def tick(self, now_ms: int) -> None:
        """Let engine time come to ``now_ms``; keep readings and the snapshot as they fall due."""
        self._feed_forecasts(now_ms)
        for out in ticks_until(self.engine, now_ms):
            self._take(out)
        self._watch_clock(now_ms)
        self.keeping.tick(now_ms)

    def _pace_changed(self, is_slow: bool | None, now_s: float) -> None:
        if is_slow is None:
            return
        words = (
            f"this computer held the node up for {self.pace.worst_s(now_s):.0f} s: alarms come late"
        )
        message, remedy = (words, REMEDY) if is_slow else ("", "")
        changed = TroubleChanged("node-slow", "node", is_slow, message, remedy)
        self.feed(Command(self.clock.engine_ms(), changed))

    def _watch_clock(self, now_ms: int) -> None:
        bodies = self.timekeeper.look(now_ms, self.store)
        self.utc_offset_ms = self.timekeeper.offset_ms
        for body in bodies:
            self.feed(Command(now_ms, body))

    def _feed_forecasts(self, now_ms: int) -> None:
        for answer in self.forecasting.due(now_ms):
            for out in feed(self.engine, answer):
                self._take(out)
