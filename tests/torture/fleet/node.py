"""A node as a process that is to be killed: a real record that grows fast, a real uplink.

    python -m tests.torture.fleet.node FOLDER EPOCH SPEED [--name N] [--off-ms N] [--days N]

Time goes SPEED times as fast as life since EPOCH (UTC, s), over all lives of the node. SIGUSR1 lets
the record grow no more, SIGUSR2 lets it grow again; the uplink goes on either way. ``--days`` puts
days of readings in at the start, as of a node whose link was cut for so long.
"""

from __future__ import annotations

import argparse
import asyncio
import random
import signal
import time
import uuid
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.model.entry_ids import new_run
from pitlogger.model.journal import Entry, Noted
from pitlogger.model.readings import Quality, Site, Tagged
from pitlogger.node.identity import node_key, uid_of
from pitlogger.store import ClockRow, JournalRow, RunRow, Store
from pitlogger.uplink import service
from pitlogger.uplink.joined import joined
from pitlogger.uplink.mqtt import MqttCarrier
from pitlogger.uplink.service import Uplink
from pitlogger.views.fanout import Happening
from pitlogger.views.node import Node

CHANNELS = 3
EVERY_MS = 10_000  # between two readings of a channel
BEAT_S = 0.1
service.REST_S = 1.0, 1.0  # its own rests are of life's pace
BLOCK_MS = 600_000
START_MS = 1_790_000_400_000


class FastClock:
    """Engine time that goes on over all lives."""

    def __init__(self, epoch_s: float, speed: float, ahead_ms: int = 0) -> None:
        self._epoch_s, self._speed, self._ahead_ms = epoch_s, speed, ahead_ms

    def engine_ms(self) -> int:
        return START_MS + self._ahead_ms + round((time.time() - self._epoch_s) * 1000 * self._speed)


class Life:
    """One life of the node."""

    def __init__(self, given: argparse.Namespace) -> None:
        self.folder: Path = given.folder
        ahead = self.folder / "ahead"  # days put in: time never goes back to before them
        before_ms = int(ahead.read_text()) if ahead.exists() else 0
        self.days_ms = round(given.days * 86_400_000)
        ahead.write_text(str(before_ms + self.days_ms))
        clock = FastClock(given.epoch, given.speed, before_ms)
        self.from_ms = clock.engine_ms()
        self.clock = FastClock(given.epoch, given.speed, before_ms + self.days_ms)
        self.run = new_run(())
        row = RunRow(self.run, given.name, uuid.uuid4().hex, self.from_ms, 5_000, "0.2.0")
        self.store = Store.open(self.folder / "pitlogger.db", row)
        self.rng = random.Random()
        self.seq = 0
        self.off_ms: int = given.off_ms
        self.grows = True
        self.happenings: asyncio.Queue[Happening] = asyncio.Queue()

    def begin(self) -> None:
        """Describe the channels, set the clock, put the days in."""
        for number in range(CHANNELS):
            self.store.describe(f"probe-{number}", "temperature")
        if self.off_ms:
            self.store.set_clock(ClockRow(self.run, self.from_ms, self.off_ms, True))
        self.upto_ms = self.from_ms
        while self.upto_ms < self.from_ms + self.days_ms:
            self.grow(min(self.upto_ms + BLOCK_MS, self.from_ms + self.days_ms))
        self.store.flush().result(60)

    def grow(self, to_ms: int) -> None:
        """Put in what was measured and decided up to a time."""
        times = range(self.upto_ms // EVERY_MS * EVERY_MS + EVERY_MS, to_ms, EVERY_MS)
        for number in range(CHANNELS):
            rows = [
                Tagged(f"probe-{number}", at, value := self.rng.randrange(50_000, 90_000), value,
                       Quality.GOOD, Site.CORE, None)
                for at in times
            ]  # fmt: skip
            if rows:
                self.store.add_readings(rows)
        self.upto_ms = max(self.upto_ms, to_ms)
        if times and self.rng.random() < 0.6:
            self.seq += 1
            body = Noted(f"note {self.seq} of {self.run}: " + "x" * self.rng.randrange(300))
            entry = Entry(self.run, self.seq, to_ms, body, "AB", f"{self.run}-{self.seq}")
            self.store.append([JournalRow.of(entry, "supper")])
            kind = self.rng.choice(("weighed", "noted"))
            self.happenings.put_nowait(Happening("entry", {"kind": kind}))

    async def ask(self, question: Callable[[Any], Any]) -> Any:
        def asked() -> Any:
            with self.store.reader() as reader:
                return question(reader)

        return await asyncio.to_thread(asked)

    async def live(self) -> None:
        """Grow and send until killed or told to end."""
        key = node_key(self.folder)
        uid = uid_of(key.public_key().public_bytes_raw())
        hub = joined(self.folder)
        assert hub is not None
        node = cast(Node, SimpleNamespace(
            clock=self.clock, engine=Engine(EngineState(self.run), load_policy()), run=self.run,
            cook="supper", uid=uid, ask=self.ask,
        ))  # fmt: skip
        uplink = Uplink(
            node, key, MqttCarrier(hub, uid, key, self.folder), self.folder, hub.hub, self._told
        )
        self.uplink = uplink
        sending = asyncio.create_task(uplink.run(self.happenings))
        while True:
            await asyncio.sleep(BEAT_S)
            if sending.done():
                sending.result()
            if self.grows:
                self.grow(self.clock.engine_ms())
            self._write_down()

    def _told(self, fault: Exception | None) -> None:
        print("uplink:", fault, flush=True)

    def _write_down(self) -> None:
        told = self.uplink.status("hub")
        part = self.folder / "status.part"
        part.write_text(told.model_dump_json())
        part.replace(self.folder / "status.json")

    def set_growing(self, grows: bool) -> None:
        self.grows = grows
        if not grows:
            self.store.flush().result(60)
        mark = self.folder / "still"
        mark.unlink(missing_ok=True) if grows else mark.touch()


async def main(given: argparse.Namespace) -> None:
    life = Life(given)
    life.begin()
    loop = asyncio.get_running_loop()
    loop.add_signal_handler(signal.SIGUSR1, life.set_growing, False)
    loop.add_signal_handler(signal.SIGUSR2, life.set_growing, True)
    living = asyncio.create_task(life.live())
    loop.add_signal_handler(signal.SIGTERM, living.cancel)
    (given.folder / "alive").write_text(life.run)
    with suppress(asyncio.CancelledError):
        await living
    life.store.close()


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("epoch", type=float)
    parser.add_argument("speed", type=float)
    parser.add_argument("--name", default="node")
    parser.add_argument("--off-ms", type=int, default=0)
    parser.add_argument("--days", type=float, default=0.0)
    asyncio.run(main(parser.parse_args()))
