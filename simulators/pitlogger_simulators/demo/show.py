"""The show: one process with the daemon, its devices, its people and a story of it all."""

from __future__ import annotations

import asyncio
import os
import signal
import socket
import tempfile
import time
import tomllib
from collections.abc import Iterator
from contextlib import AsyncExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pitlogger.clock import SystemClock
from pitlogger.config import WebTable, default_data, parse_config
from pitlogger.formats.capture import parse_capture
from pitlogger.model.readings import Reading, Site
from pitlogger.node.daemon import Daemon
from pitlogger.reports.cook_report import told_verdict
from pitlogger.reports.replay_document import Gathered, replay_document
from pitlogger.web.judged import judged
from pitlogger.web.serve import serving
from pitlogger.web.sheet_process import sheet_of_cook
from pitlogger_simulators.clock import SimulatedClock
from pitlogger_simulators.demo.desk import Desk
from pitlogger_simulators.demo.ledger import ledger_text
from pitlogger_simulators.demo.pace import FASTEST, SLOW, DemoPace
from pitlogger_simulators.play import Play, stage
from pitlogger_simulators.scenarios.scenario import Scenario, dump_tables, load
from pitlogger_simulators.stand import BEAT_S, Stand
from pitlogger_simulators.story import Story

PUMP_S = 0.02
# A forecast takes effect 30 s of engine time after it was asked for. At most so much real
# time counts between two pumps that at the fastest rate less than that goes by; then time
# waits for the forecast.
SLACK_S = 27.0 / FASTEST
READY_WITHIN_S = 15.0
_HOST = "127.0.0.1"
_BUS = "DBUS_SYSTEM_BUS_ADDRESS"


@dataclass(slots=True)
class Show:
    """What a demo is made of, joined once.

    Args:
        folder: Where the record is kept.
        limit: Simulated seconds in a real one, at most.
    """

    scenario: Scenario
    folder: Path
    headless: bool
    story: Story
    limit: float | None = None
    bluetooth: bool | None = None
    stopping: asyncio.Event = field(default_factory=asyncio.Event)

    async def run(self) -> dict[str, Any]:
        """Play the cook to its end, or until it is stopped; return the document."""
        desks: list[Desk] = []

        def steady_mg(channel: str) -> int | None:
            return desks[0].steady_mg(channel) if desks else None

        play = stage(self.scenario, steady_mg)
        pace = DemoPace(play, self.limit)
        clock = SimulatedClock(self.scenario.start_ms, min(SLOW, pace.limit), slack_s=SLACK_S)
        async with AsyncExitStack() as stack:
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="pitlogger-")))
            stand = await stack.enter_async_context(Stand(play, folder, self.bluetooth))
            if stand.bus_address:
                stack.enter_context(_environment(_BUS, stand.bus_address))
            elif not stand.has_bluetooth:
                self.story.line(None, "dbus-daemon is missing: serial probes instead of Bluetooth")
            if any(fault.kind == "power-cut" for fault in self.scenario.faults):
                self.story.line(None, "the power cut is left out: here the host itself goes on")
            clock.put_wall_off(play.faults.clock_step_ms(play.now_ms))
            stale_s = 3 * stand.declared_s(pace.limit)
            cook_text = _cook_text(self.scenario, stale_s)
            config = parse_config(self._config_text(stand, folder, pace.limit), "demo")
            daemon = await stack.enter_async_context(Daemon(config, clock=clock))
            address = await stack.enter_async_context(serving(daemon))
            if address is not None:
                self.story.line(None, f"page: {address}")
            desk = await stack.enter_async_context(Desk(daemon.socket, self.story.happening))
            desks.append(desk)
            await self._until_heard(play, stand, clock, daemon)
            by = self.scenario.file.by
            await desk.start(cook_text, by)
            await self._play(play, stand, clock, pace, daemon, desk)
            await desk.finish(by)
            return await self._document(daemon, desk, cook_text)

    async def _until_heard(
        self, play: Play, stand: Stand, clock: SimulatedClock, daemon: Daemon
    ) -> None:
        """Let every probe be heard once before the cook begins."""
        wanted = set(play.kitchen.probes)
        end_s = time.monotonic() + READY_WITHIN_S
        while time.monotonic() < end_s and not self.stopping.is_set():
            play.advance_to(clock.pump(1.0))
            stand.beat()
            channels = daemon.engine.state.channels
            heard = {name for name, state in channels.items() if state.heard_ms >= 0}
            if wanted <= heard:
                return
            await asyncio.sleep(BEAT_S)

    async def _play(
        self,
        play: Play,
        stand: Stand,
        clock: SimulatedClock,
        pace: DemoPace,
        daemon: Daemon,
        desk: Desk,
    ) -> None:
        """Let time pass, at its pace, until all is done."""
        beat_s = 0.0
        end_ms: int | None = None
        while not self.stopping.is_set() and (end_ms is None or play.now_ms < end_ms):
            await asyncio.sleep(PUMP_S)
            if _is_forecasting():
                clock.hold()
                continue
            play.advance_to(clock.pump())
            clock.put_wall_off(play.faults.clock_step_ms(play.now_ms))
            daemon.tick(play.now_ms)
            play.crew.tick(play.now_ms, desk.shown())
            for person in play.crew.people:
                desk.hand_in(person.hand)
            rate = pace.rate(_is_slow(play, desk))
            clock.pump(rate)
            if (now_s := time.monotonic()) - beat_s >= BEAT_S:
                beat_s = now_s
                stand.beat()
                self.story.progress(pace.share, play.now_ms, rate, _state(play))
            if end_ms is None and play.crew.is_done and not desk.waiting:
                end_ms = play.now_ms + self.scenario.file.tail
            if play.now_ms >= self.scenario.end_ms:
                break

    def _config_text(self, stand: Stand, sockets: Path, limit: float) -> str:
        tables = {
            "node": {
                "name": "demo", "data": str(self.folder), "socket": str(sockets / "demo.sock"),
            },
            "web": {
                "enabled": not self.headless, "host": _HOST, "port": _free_port(),
                "one_time_link": True,
            },
        }  # fmt: skip
        return stand.config_text(limit, tables)

    async def _document(self, daemon: Daemon, desk: Desk, cook_text: str) -> dict[str, Any]:
        """Write the record and return what the run gave, as ``replay`` tells it."""
        record = self.folder / "record.senml"
        exported = await desk.export()
        record.write_text(exported, encoding="utf-8")
        record.with_suffix(".toml").write_text(cook_text, encoding="utf-8")
        readings = [
            given
            for given in parse_capture(exported.encode().splitlines(), str(record))
            if isinstance(given, Reading)
        ]
        gathered = Gathered(readings=len(readings))
        rows = await desk.get("/cooks")
        cook = rows[0]["cook"]
        gathered.entries = await daemon.ask(lambda reader: reader.entries(cook=cook))
        times = [entry.t_ms for entry in gathered.entries]
        gathered.first_ms, gathered.last_ms = times[0], times[-1]
        return {
            **replay_document(gathered, daemon.engine.book),
            "food_log": await self._food_log(daemon, cook),
            "record": str(record),
            "cook_file": str(record.with_suffix(".toml")),
            "refused": desk.refused,
            "finished": not self.stopping.is_set(),
        }

    async def _food_log(self, daemon: Daemon, cook: str) -> dict[str, Any]:
        """Write the food log as it would be handed to an inspector; return what it says."""
        path = self.folder / "food-log.html"
        path.write_text(await sheet_of_cook(daemon, "food-log", cook, daemon.units), "utf-8")
        made = await judged(daemon, cook)
        return {
            "file": str(path),
            "verdicts": [
                {"piece": row.piece, "what": row.what, "verdict": told_verdict(row.met, row.value),
                 "answered": row.corrective is not None}
                for row in made.rows if row.id is None
            ],
        }  # fmt: skip


def show(
    scenario: str, *, headless: bool, limit: float | None, as_json: bool
) -> tuple[dict[str, Any], str]:
    """Run the demo; return its document and what is printed of it for people."""
    chosen = load(scenario)
    folder = _folder(chosen.name)
    story = Story(chosen.file.start.tzinfo)
    story.line(None, f"{chosen.file.title}. Ctrl-C ends it early.")
    document = asyncio.run(_shown(chosen, folder, headless, story, limit))
    story.end()
    return document, ledger_text(document)


async def _shown(
    scenario: Scenario, folder: Path, headless: bool, story: Story, limit: float | None
) -> dict[str, Any]:
    run = Show(scenario, folder, headless, story, limit)
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, run.stopping.set)
    try:
        return await run.run()
    finally:
        for number in (signal.SIGINT, signal.SIGTERM):
            loop.remove_signal_handler(number)


def _folder(name: str) -> Path:
    """Return a new folder for the record of this run."""
    parent = default_data() / "demo"
    parent.mkdir(parents=True, exist_ok=True)
    stamp = time.strftime("%Y%m%d-%H%M%S", time.localtime(SystemClock().utc_ms() / 1000))
    return Path(tempfile.mkdtemp(prefix=f"{name}-{stamp}-", dir=parent))


def _is_slow(play: Play, desk: Desk) -> bool:
    """Whether somebody weighs, something is being told, or a prompt waits for its person."""
    if play.crew.is_weighing or desk.waiting:
        return True
    return desk.has_prompt and play.crew.is_awake


def _free_port() -> int:
    """Return the page's usual port, or 0 for any where that one is taken."""
    usual = int(WebTable().port)
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((_HOST, usual))
        except OSError:
            return 0
    return usual


def _is_forecasting() -> bool:
    """Whether the daemon computes a forecast; its task is called so."""
    return any(task.get_name() == "forecast" for task in asyncio.all_tasks())


def _state(play: Play) -> str:
    if play.crew.is_weighing:
        return "weighing"
    return "working" if play.crew.at_work else ""


def _cook_text(scenario: Scenario, stale_s: float) -> str:
    """Return the cook file with how long a channel may be silent at this speed.

    The file stands beside the record, so a replay judges silence as the daemon did.
    """
    document = tomllib.loads(scenario.cook_text)
    for channel in document.get("channel", []):
        if channel["site"] != Site.BENCH.value:
            channel["stale_after"] = f"{stale_s:g} s"
    return dump_tables(document)


@contextmanager
def _environment(name: str, value: str) -> Iterator[None]:
    """Set an environment variable for a while."""
    before = os.environ.get(name)
    os.environ[name] = value
    try:
        yield
    finally:
        if before is None:
            del os.environ[name]
        else:
            os.environ[name] = before
