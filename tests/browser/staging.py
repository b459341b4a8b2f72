"""A daemon with the made-up cook, served on a port of its own, in a thread of its own."""

from __future__ import annotations

import asyncio
import random
import tempfile
import threading
from collections.abc import Callable, Coroutine, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from types import ModuleType
from typing import Any, TypeVar

from pitlogger.clock import ManualClock, utc_ms
from pitlogger.config import parse_config
from pitlogger.node.daemon import Daemon
from pitlogger.web.access.access import Access
from pitlogger.web.access.roles import Role
from pitlogger.web.serve import serving
from tests.browser import kitchen

T = TypeVar("T")
BEAT_S = 0.2


@dataclass(slots=True)
class Staged:
    """A served daemon whose time a test turns.

    Attributes:
        scale_g: What lies on the scale; ``None`` while it is switched off.
        silent: While set, nothing is read.
        speed: How many seconds of the node pass in one of ours.
    """

    daemon: Daemon
    clock: ManualClock
    address: str
    loop: asyncio.AbstractEventLoop
    access: Access
    noise: random.Random = field(default_factory=lambda: random.Random(7))
    scale_g: float | None = 5205.0
    silent: bool = False
    began_ms: int = kitchen.START_MS
    is_playing: bool = False
    scene: ModuleType = kitchen
    speed: float = 1.0

    def key(self, name: str = "phone", role: Role = Role.OWNER) -> str:
        """Return the key of a newly paired phone."""
        return self.access.keys.add("phone", name, "AK", role, utc_ms())[1]

    def call(self, made: Callable[[], Coroutine[Any, Any, T]]) -> T:
        """Run something on the daemon's loop and return what it gives."""
        return asyncio.run_coroutine_threadsafe(made(), self.loop).result(180)

    def let_pass(self, ms: int) -> None:
        """Let time pass on the daemon's loop: from here it might do so between two looks at it."""

        async def work() -> None:
            self.clock.advance(ms)

        self.call(work)

    def start_cook(self, hour: float) -> None:
        """Start the made-up cook now and play it to an hour of it, at once."""

        async def work() -> None:
            self.is_playing = True
            self.began_ms = self.clock.engine_ms()
            await self.daemon.submit(self.scene.start(self.began_ms), "AK")
            await self._play_to(self.began_ms + round(hour * kitchen.HOUR_MS))
            self.is_playing = False

        self.call(work)

    async def _play_to(self, end_ms: int) -> None:
        shift_ms = self.began_ms - kitchen.START_MS
        due = [
            doing
            for doing in self.scene.doings(shift_ms)
            if self._at(doing) > self.clock.engine_ms()
        ]
        while self.clock.engine_ms() < end_ms:
            self.clock.advance(min(self.scene.STEP_MS, end_ms - self.clock.engine_ms()))
            now_ms = self.clock.engine_ms()
            for reading in self.scene.readings(now_ms, self.noise, began_ms=self.began_ms):
                self.daemon.feed(reading)
            while due and self._at(due[0]) <= now_ms:
                doing = due.pop(0)
                await self.daemon.submit(doing.body, doing.by)
            await self.daemon.forecasting.settled()
        self.daemon.tick(self.clock.engine_ms())
        await asyncio.wrap_future(self.daemon.store.flush())

    def _at(self, doing: kitchen.Doing) -> int:
        return self.began_ms + round(doing.hour * kitchen.HOUR_MS)

    async def live(self) -> None:
        """Read on, a beat at a time, for as long as it is served."""
        while True:
            await asyncio.sleep(BEAT_S)
            if self.is_playing:
                continue
            self.clock.advance(round(BEAT_S * 1000 * self.speed))
            if not self.silent:
                now_ms = self.clock.engine_ms()
                for reading in self.scene.readings(now_ms, self.noise, self.scale_g, self.began_ms):
                    self.daemon.feed(reading)


@dataclass(frozen=True, slots=True)
class Played:
    """What a daemon that played a cook leaves behind: its files, by path, and where time stood."""

    files: dict[Path, bytes]
    end_ms: int
    noise: random.Random

    def laid_out(self, folder: Path) -> random.Random:
        """Put the files into a folder; return the noise as it went on."""
        for path, held in self.files.items():
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
            (folder / path).write_bytes(held)
        noise = random.Random()
        noise.setstate(self.noise.getstate())
        return noise


@cache
def played(scene: ModuleType, hour: float) -> Played:
    """Play the cook of a scene to an hour of it, once for all tests of a process."""
    with tempfile.TemporaryDirectory() as data:
        folder = Path(data)
        with staged(folder, None, scene=scene) as stage:
            stage.start_cook(hour)
        files = {
            path.relative_to(folder): path.read_bytes()
            for path in folder.rglob("*")
            if path.is_file()
        }
    return Played(files, stage.clock.engine_ms(), stage.noise)


@contextmanager
def staged(
    folder: Path, hour: float | None = 9.0, web: str = "", scene: ModuleType = kitchen
) -> Iterator[Staged]:
    """Serve a daemon; with ``hour`` it goes on where one ended that played the scene's cook."""
    clock, noise = ManualClock(kitchen.START_MS), random.Random(7)
    if hour is not None:
        made = played(scene, hour)
        clock, noise = ManualClock(made.end_ms), made.laid_out(folder)
    ready: list[Staged | BaseException] = []
    told = threading.Event()
    stop: list[asyncio.Event] = []

    async def run() -> None:
        config = parse_config(kitchen.CONFIG.format(data=folder) + web)
        access = Access(config)
        async with Daemon(config, clock=clock) as daemon, serving(daemon, access) as address:
            stage = Staged(
                daemon, clock, address or "", asyncio.get_running_loop(), access, noise,
                scene=scene,
            )  # fmt: skip
            stop.append(asyncio.Event())
            living = asyncio.create_task(stage.live())
            ready.append(stage)
            told.set()
            await stop[0].wait()
            living.cancel()

    def work() -> None:
        try:
            asyncio.run(run())
        except BaseException as fault:
            ready.append(fault)
            told.set()

    thread = threading.Thread(target=work, name="staged")
    thread.start()
    told.wait(60)
    stage = ready[0]
    if isinstance(stage, BaseException):
        raise stage
    try:
        yield stage
    finally:
        stage.loop.call_soon_threadsafe(stop[0].set)
        thread.join(20)
