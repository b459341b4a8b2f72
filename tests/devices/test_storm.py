"""Every transport dropped at every step, over and over: each comes back, and nothing leaks.

A day has a drop every five minutes for each device; the quiet between drops is left out: the
clock is moved on by hand. Pauses are shortened by ``SCALE``. The usual run strikes at every step
once, STORM_DROPS at more; the nightly one is the whole day, 288 drops a device.
"""

from __future__ import annotations

import asyncio
import gc
import inspect
import os
import random
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from pitlogger.clock import ManualClock
from pitlogger.devices.contract import Measurement, milli_units
from pitlogger.devices.registry import Registry, configure
from pitlogger.devices.supervisor import Device, Supervisor
from pitlogger.devices.transports.asking import AskingTransport
from pitlogger.devices.transports.ble.radio import Radio, RadioLimits
from pitlogger.devices.transports.ble.settings import GattSettings
from pitlogger.testing import until
from pitlogger_drivers.bluetooth import GattConfig, gatt_settings
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from tests.devices.storm_devices import (
    SCALE,
    Act,
    BrokerStorm,
    HidStorm,
    ModbusStorm,
    OneWireStorm,
    SerialScaleStorm,
    SmaStorm,
    Storm,
)
from tests.devices.storm_on_the_air import BeaconStorm, RadioStorm

BACK_S = 10.0  # of the device's time, after it is well again
AWAY_S = (0.0, 2.0, 30.0)  # how long a device is hurt
PATIENCE_S = 20.0  # of ours; far more than may pass
SPEAK_S = 0.02
QUIET_MS = 300_000  # between two drops, left out
DAY_DROPS = 86_400_000 // QUIET_MS


class ScaledClock(ManualClock):
    """Time that runs ``SCALE`` times as fast as the event loop's, and is moved on by hand."""

    def monotonic_ms(self) -> int:
        running_ms = asyncio.get_running_loop().time() * 1000 * SCALE
        return super().monotonic_ms() + round(running_ms)


class Weather:
    """Runs the devices, hurts each in its own order, and times how soon it is read again."""

    def __init__(self, storms: list[Storm]) -> None:
        self.storms = {storm.id: storm for storm in storms}
        self.heard: dict[str, float | None] = {}
        self.said: dict[str, str] = {}
        self.late_s = 0.0
        self.took_s: dict[str, list[tuple[str, float]]] = {storm.id: [] for storm in storms}
        self.clock = ScaledClock()
        self.supervisor = Supervisor(
            self._emit,
            lambda device, link, message, _: self.said.update({device: f"{link}: {message}"}),
            clock=self.clock,
            sleep=lambda pause_s: asyncio.sleep(pause_s / SCALE),
        )

    def _emit(self, device: str, found: Measurement) -> None:
        if found.channel == self.storms[device].channel and found.value is not None:
            milli = 1_000_000 if found.unit == "kg" else 1000
            self.heard[device] = milli_units(found.value, found.unit) / milli

    async def speak(self) -> None:
        """Let every device say its number; note how much later than asked the loop came back."""
        loop = asyncio.get_running_loop()
        while True:
            for storm in self.storms.values():
                storm.speak()
            due_s = loop.time() + SPEAK_S
            await asyncio.sleep(SPEAK_S)
            self.late_s += loop.time() - due_s

    async def read(self, storm: Storm) -> float:
        """Return after how long, in the device's time, a new number of it was read.

        What a busy machine took from the event loop is left out: it is not scaled.
        """
        storm.value = storm.value % 100 + 1
        loop = asyncio.get_running_loop()
        began_s, late_s = loop.time(), self.late_s
        try:
            await until(lambda: self.heard.get(storm.id) == storm.value, PATIENCE_S)
        except TimeoutError:
            refused = [one.reason for one in self.supervisor.refused(storm.id)][-2:]
            pytest.fail(f"{storm.id} is not read again: {self.said.get(storm.id)}, {refused}")
        return (loop.time() - began_s - (self.late_s - late_s)) * SCALE

    async def hurt(self, storm: Storm, drops: int) -> None:
        """Hurt one device at each of its steps in turn, in an order of chance."""
        chance = random.Random(storm.id)
        order: list[str] = []
        for _ in range(max(drops, len(storm.steps))):
            if not order:
                order = chance.sample(sorted(storm.steps), len(storm.steps))
            step = order.pop()
            hurt, heal = storm.steps[step]
            async with storm.turn:
                self.clock.advance(QUIET_MS)
                await _do(hurt)
                await asyncio.sleep(chance.choice(AWAY_S) / SCALE)
                await _do(heal)
                self.took_s[storm.id].append((step, await self.read(storm)))


async def _do(act: Act) -> None:
    result = act()
    if inspect.isawaitable(result):
        await result


@pytest.fixture
def fast(monkeypatch: pytest.MonkeyPatch) -> None:
    """Shorten what the code under test waits for."""
    for name in ("paths.LOOK_S", "polled.LOOK_S", "hidraw._LOOK_S", "ble.gatt._LOOK_S"):
        monkeypatch.setattr(f"pitlogger.devices.transports.{name}", 1.0 / SCALE)
    usual = RadioLimits()
    limits = RadioLimits(
        start_s=usual.start_s / SCALE,
        look_s=usual.look_s / SCALE,
        silence_s=usual.silence_s / SCALE,
        pause_s=usual.pause_s / SCALE,
        pause_cap_s=usual.pause_cap_s / SCALE,
    )
    monkeypatch.setattr(Radio, "limits", limits)
    monkeypatch.setattr("pitlogger_drivers.environmental.driver.gatt_settings", _hasty)
    defaults = {**(AskingTransport.__init__.__kwdefaults__ or {}), "patience_s": 2.0 / SCALE}
    monkeypatch.setattr(AskingTransport.__init__, "__kwdefaults__", defaults)


def _hasty(config: GattConfig, *needed: str) -> GattSettings:
    """Return the settings of a link whose patience is as short as all else."""
    usual = gatt_settings(config, *needed)
    spans = {
        name: getattr(usual, name) / SCALE for name in ("find_s", "connect_s", "close_s", "gone_s")
    }
    return replace(usual, **spans)


def on_the_air(bluez: SimulatedBluez) -> list[Storm]:
    """Return the devices on the air; what hurts their radio hurts both, so they take turns."""
    probes, beacon = RadioStorm(bluez), BeaconStorm(bluez)
    beacon.turn = probes.turn
    return [probes, beacon]


@pytest.fixture
async def wired(tmp_path: Path) -> list[Storm]:
    """The devices on wires and on the network."""
    broker = BrokerStorm()
    await broker.start()
    return [
        SerialScaleStorm(tmp_path), SmaStorm(tmp_path), ModbusStorm(tmp_path),
        HidStorm(tmp_path), OneWireStorm(tmp_path), broker,
    ]  # fmt: skip


@asynccontextmanager
async def raging(storms: list[Storm]) -> AsyncIterator[Weather]:
    """Run all devices; afterwards they are closed."""
    weather = Weather(storms)
    speaking = asyncio.create_task(weather.speak())
    try:
        async with weather.supervisor:
            for storm in storms:
                found: Any = storm.made() if isinstance(storm, HidStorm) else None
                driver = found or Registry().load(storm.driver)
                config = configure(driver.info, storm.keys(), "storm")
                weather.supervisor.start(Device(storm.id, driver({}), config))
            yield weather
    finally:
        speaking.cancel()
        await asyncio.wait({speaking})
        for storm in storms:
            storm.close()


def open_files() -> int:
    """Return how many descriptors this process holds."""
    gc.collect()
    return len(os.listdir("/proc/self/fd"))


async def outlast(storms: list[Storm], drops: int) -> Weather:
    """Storm, and fail where a device is late or something was left behind."""
    async with raging(storms) as weather:
        for storm in storms:
            await weather.read(storm)
        files, tasks = open_files(), len(asyncio.all_tasks())
        async with asyncio.TaskGroup() as group:
            for storm in storms:
                group.create_task(weather.hurt(storm, drops))
        for storm in storms:
            await weather.read(storm)
        await asyncio.sleep(0.1)  # what was closed last ends
        assert open_files() <= files
        assert len(asyncio.all_tasks()) <= tasks
    late = {
        f"{device}: {step}": round(took_s, 1)
        for device, took in weather.took_s.items()
        for step, took_s in took
        if took_s > BACK_S
    }
    assert late == {}
    return weather


def _drops() -> int:
    return int(os.environ.get("STORM_DROPS", "0"))


@pytest.mark.slow
async def test_wired_devices_outlast_a_storm(wired: list[Storm], fast: None) -> None:
    weather = await outlast(wired, _drops())
    assert all(len(took) >= 2 for took in weather.took_s.values())


@pytest.mark.slow
async def test_devices_on_the_air_outlast_a_storm(bluez: SimulatedBluez, fast: None) -> None:
    weather = await outlast(on_the_air(bluez), _drops())
    assert len(weather.took_s["environmental-sensing"]) >= 11


@pytest.mark.nightly
async def test_wired_devices_outlast_a_day(wired: list[Storm], fast: None) -> None:
    await outlast(wired, DAY_DROPS)


@pytest.mark.nightly
async def test_devices_on_the_air_outlast_a_day(bluez: SimulatedBluez, fast: None) -> None:
    await outlast(on_the_air(bluez), DAY_DROPS)
