"""The kitchen of the soak: a device of every kind, a daemon in fast time, and all its clients."""

from __future__ import annotations

import asyncio
import os
import shutil
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from random import Random
from typing import Any

import httpx

from pitlogger_simulators.bluetooth.bus import available
from pitlogger_simulators.clock import SimulatedClock
from pitlogger_simulators.play import Play, stage
from pitlogger_simulators.scenarios.scenario import load
from pitlogger_simulators.stand import Stand
from tests.system.broker import MOSQUITTO, Broker, watching

KINDS = {
    "serial": "serial-scale", "board": "csv-board", "loop": "modbus", "wire": "kernel-w1",
    "amplifier": "kernel-iio", "chip": "kernel-hwmon",
}  # fmt: skip
ON_RADIO = {
    "radio-scale": "gatt-scale", "stick": "gatt-thermometer", "station": "gatt-environmental",
    "beacon": "bthome",
}  # fmt: skip
HAS_BROKER = Path(MOSQUITTO).exists()
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ARGS = ["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run"]
BEAT_S = 0.2
READY_S = 180.0  # under load
PULLED_PART = 0.02  # of the beats in which some device loses its link

COOK = """
[cook]
name = "soak"
[[piece]]
id = "brisket-1"
cut = "brisket-packer"
mass = "6 kg"
wrap_at = "165F"
pull_at = "203F"
"""


def scenario_text(broker: Broker | None) -> str:
    """Return a scenario with a device of every kind that can be had here."""
    kinds = dict(KINDS)
    if available():
        kinds |= ON_RADIO
    if broker is not None:
        kinds["remote"] = "mqtt-board"
    parts = ['title = "soak"', "start = 2026-05-02T12:00:00Z", 'limit = "500 h"', COOK]
    parts.append('[[pit]]\nid = "pit"\nkind = "gas"\nset = "250F"\n')
    for device, kind in kinds.items():
        at = "" if kind != "mqtt-board" or broker is None else f'broker = "localhost:{broker.port}"'
        parts.append(f'[[device]]\nid = "{device}"\nkind = "{kind}"\n{at}\n')
        if "scale" in kind:
            parts.append(f'[[channel]]\nid = "{device}/mass"\nsite = "bench"\n')
            parts.append(f'[[scale]]\nchannel = "{device}/mass"\ndevice = "{device}"\n')
            continue
        site = 'site = "core"\npiece = "brisket-1"' if device == "board" else 'site = "pit"'
        parts.append(f'[[channel]]\nid = "{device}/heat"\n{site}\n')
        pit = "" if device == "board" else 'pit = "pit"'
        parts.append(f'[[probe]]\nchannel = "{device}/heat"\ndevice = "{device}"\n{pit}\n')
    return "\n".join(parts)


class SoakKitchen:
    """Devices that work, and a daemon that reads them.

    Attributes:
        pid: Of the daemon.
        devices, channels: What is read, by driver and by id.
        heard: Messages the broker passed on, and events of the stream.
    """

    def __init__(self, folder: Path, rate: float, seed: int) -> None:
        self.folder = folder
        self.rate = rate
        self.dice = Random(seed)
        self.heard = {"stream": 0, "broker": 0, "page": 0}
        self.pid = 0
        self.client: httpx.AsyncClient
        self.devices: list[str] = []
        self.channels: set[str] = set()
        self._process: asyncio.subprocess.Process

    @asynccontextmanager
    async def at_work(self) -> AsyncIterator[SoakKitchen]:
        """Have everything run while the context is open."""
        broker = Broker(self.folder) if HAS_BROKER else None
        if broker is not None:
            await broker.start()
        try:
            async with self._devices(broker) as stand, self._daemon(stand, broker) as address:
                tasks = [
                    asyncio.create_task(work)
                    for work in (self._listen(), self._watch(broker), self._browse(address))
                ]
                try:
                    yield self
                finally:
                    for task in tasks:
                        task.cancel()
                    await asyncio.gather(*tasks, return_exceptions=True)
        finally:
            if broker is not None:
                broker.stop()

    async def stop(self) -> int:
        """Tell the daemon to end; return its exit code."""
        self._process.terminate()
        return await self._process.wait()

    @asynccontextmanager
    async def _devices(self, broker: Broker | None) -> AsyncIterator[Stand]:
        file = self.folder / "soak.toml"
        file.write_text(scenario_text(broker), encoding="utf-8")
        play = stage(load(str(file)), lambda channel: None, seed=self.dice.randrange(1 << 30))
        async with Stand(play, self.folder) as stand:
            self.devices = [device.driver for device in stand.devices]
            self.channels = set(play.outlets)
            beating = asyncio.create_task(self._beat(stand, play))
            try:
                yield stand
            finally:
                beating.cancel()
                await asyncio.gather(beating, return_exceptions=True)

    async def _beat(self, stand: Stand, play: Play) -> None:
        clock = SimulatedClock(play.now_ms, self.rate)
        while True:
            await asyncio.sleep(BEAT_S)
            play.advance_to(clock.pump())
            for scale in play.kitchen.scales.values():
                scale.put(self.dice.uniform(-20, 20) if scale.is_on else 5_000)
            if self.dice.random() < PULLED_PART:
                device = self.dice.choice(stand.devices)
                if device.is_linked:
                    device.is_linked = False  # the next beat takes the link up again
                    device.link(False)
            else:
                stand.beat()

    @asynccontextmanager
    async def _daemon(self, stand: Stand, broker: Broker | None) -> AsyncIterator[str]:
        config = self.folder / "pitlogger.toml"
        tables: dict[str, Any] = {
            "node": {"name": "soak", "data": str(self.folder / "data")},
            "web": {"host": "127.0.0.1", "port": 0, "one_time_link": True},
        }
        if broker is not None:
            tables["mqtt"] = {"enabled": True, "host": "localhost", "port": broker.port,
                              "discovery_prefix": "homeassistant"}  # fmt: skip
        config.write_text(stand.config_text(self.rate, tables), encoding="utf-8")
        environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
        if stand.bus_address:
            environment["DBUS_SYSTEM_BUS_ADDRESS"] = stand.bus_address
        with (self.folder / "daemon.log").open("wb") as log:
            self._process = await asyncio.create_subprocess_exec(
                sys.executable, "-m", "tests.torture.fast_daemon", str(config), str(self.rate),
                env=environment, stdout=asyncio.subprocess.PIPE, stderr=log,
            )  # fmt: skip
        self.pid = self._process.pid
        try:
            address = await self._said()
            way = httpx.AsyncHTTPTransport(uds=str(self.folder / "data" / "pitlogger.sock"))
            async with httpx.AsyncClient(
                transport=way, base_url="http://pit/api/v1", timeout=60
            ) as client:
                self.client = client
                yield address
        finally:
            if self._process.returncode is None:
                self._process.kill()
                await self._process.wait()

    async def _said(self) -> str:
        """Return the address that the daemon prints once it is ready."""
        assert self._process.stdout is not None
        async with asyncio.timeout(READY_S):
            address = (await self._process.stdout.readline()).decode().strip()
        if not address:
            said = (self.folder / "daemon.log").read_text(encoding="utf-8")
            raise RuntimeError(f"the daemon ended: {said[-2000:]}")
        return address

    async def _listen(self) -> None:
        async with self.client.stream("GET", "/stream", timeout=None) as stream:
            async for line in stream.aiter_lines():
                self.heard["stream"] += line.startswith("data: ")

    async def _watch(self, broker: Broker | None) -> None:
        if broker is None:
            return
        async with watching(broker.port) as hub:
            while True:
                await asyncio.sleep(1.0)
                self.heard["broker"] += len(hub.heard)
                hub.heard.clear()

    async def _browse(self, address: str) -> None:
        """Keep the page open in a real browser, where there is one."""
        with suppress(ImportError):
            from playwright.async_api import async_playwright

            if CHROMIUM is None:
                return
            async with async_playwright() as playwright:
                browser = await playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
                page = await browser.new_page()
                await page.goto(address)
                await page.goto(address.partition("pair#")[0])
                while True:
                    await asyncio.sleep(5.0)
                    self.heard["page"] += len(await page.inner_text("body"))
