"""The stand: all emulated devices of a play at work, and the configuration that reads them."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AsyncExitStack
from pathlib import Path
from typing import Any

from pitlogger_simulators.bluetooth.bus import available, private_bus
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from pitlogger_simulators.bluetooth.world import World
from pitlogger_simulators.devices.emulated import Emulated
from pitlogger_simulators.devices.on_bluetooth import (
    Advertiser,
    GattEnvironmental,
    GattScale,
    GattThermometer,
)
from pitlogger_simulators.devices.on_files import Amplifiers, MonitorChip, OneWire
from pitlogger_simulators.devices.on_hid import EmulatedHidScale
from pitlogger_simulators.devices.on_modbus import Transmitter
from pitlogger_simulators.devices.on_mqtt import MqttBoard
from pitlogger_simulators.devices.on_serial import CsvBoard, EmulatedSerialScale
from pitlogger_simulators.play import Play
from pitlogger_simulators.scenarios.form import DeviceForm
from pitlogger_simulators.scenarios.scenario import dump_tables

BEAT_S = 0.1  # so that no device sends more than ten frames a real second
# Silence that is normal, in beats: a frame may be lost, and a busy machine beats late.
BEATS_DECLARED = 4
_ON_RADIO: dict[str, Callable[[Play, DeviceForm, World], Emulated]] = {
    "gatt-scale": GattScale,
    "gatt-thermometer": GattThermometer,
    "gatt-environmental": GattEnvironmental,
    "bthome": Advertiser,
}
_IN_FOLDER: dict[str, Callable[[Play, DeviceForm, Path], Emulated]] = {
    "serial-scale": EmulatedSerialScale,
    "hid-scale": EmulatedHidScale,
    "csv-board": CsvBoard,
    "modbus": Transmitter,
    "kernel-w1": OneWire,
    "kernel-iio": Amplifiers,
    "kernel-hwmon": MonitorChip,
}


class Stand:
    """Devices of a play, as an async context manager.

    Args:
        folder: Where ports appear.
        bluetooth: Use the simulated Bluetooth service; without it, its devices become
            boards on serial ports.
    """

    def __init__(self, play: Play, folder: Path, bluetooth: bool | None = None) -> None:
        self.play = play
        self.folder = folder
        self.has_bluetooth = available() if bluetooth is None else bluetooth
        self.bus_address = ""
        self.devices: list[Emulated] = []
        self.bluez: SimulatedBluez | None = None
        self._stack = AsyncExitStack()
        self._has_adapter = True

    async def __aenter__(self) -> Stand:
        async with AsyncExitStack() as stack:
            tables = self.play.scenario.file.device
            if self.has_bluetooth and any(t.kind in _ON_RADIO for t in tables):
                self.bus_address = stack.enter_context(private_bus())
                self.bluez = await stack.enter_async_context(SimulatedBluez(self.bus_address))
            world = None if self.bluez is None else self.bluez.world
            for table in tables:
                device = self._make(table, world)
                stack.callback(device.close)
                self.devices.append(device)
            self._stack = stack.pop_all()
        return self

    async def __aexit__(self, *exc: object) -> None:
        await self._stack.aclose()

    def _make(self, table: DeviceForm, world: World | None) -> Emulated:
        if world is not None and table.kind in _ON_RADIO:
            return _ON_RADIO[table.kind](self.play, table, world)
        if table.kind == "mqtt-board":
            return MqttBoard(self.play, table)
        if table.kind == "gatt-scale":
            return EmulatedSerialScale(self.play, table, self.folder)
        return _IN_FOLDER.get(table.kind, CsvBoard)(self.play, table, self.folder)

    def beat(self) -> None:
        """Let each device send what is due now."""
        self._watch_adapter()
        for device in self.devices:
            device.beat()

    def _watch_adapter(self) -> None:
        if self.bluez is None:
            return
        has_adapter = self.play.faults.has_adapter(self.play.now_ms)
        if has_adapter != self._has_adapter:
            self._has_adapter = has_adapter
            if has_adapter:
                self.bluez.world.plug_adapter()
            else:
                self.bluez.world.pull_adapter()

    def declared_s(self, rate: float) -> float:
        """Return the longest normal silence of a device, simulated seconds."""
        return BEATS_DECLARED * BEAT_S * rate

    def config_text(self, rate: float, tables: dict[str, Any] | None = None) -> str:
        """Return the configuration that reads these devices.

        Args:
            rate: The most simulated seconds in a real one; intervals are stretched by it.
            tables: Further tables, put first.
        """
        parts = [dump_tables(tables)] if tables else []
        parts += [self._device_text(device, rate) for device in self.devices]
        return "\n".join(parts)

    def _device_text(self, device: Emulated, rate: float) -> str:
        own_s = max(outlet.interval_ms for outlet in device.outlets) / 1000
        interval_s = max(own_s, self.declared_s(rate))
        keys = {
            "id": device.table.id,
            "driver": device.driver,
            **device.keys(),
            "interval_s": interval_s,
        }
        text = dump_tables({"device": [keys]})
        placed = {channel.id: channel for channel in self.play.scenario.cook.channels}
        for outlet in device.outlets:
            channel = placed[outlet.channel]
            row = {
                "id": channel.id,
                "name": device.channel_name(channel.id),
                "site": channel.site.value,
            }
            if channel.piece is not None:
                row["piece"] = channel.piece
            text += "\n" + dump_tables({"device.channel": [row]})
        return text
