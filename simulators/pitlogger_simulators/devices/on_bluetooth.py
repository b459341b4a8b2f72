"""Peripherals on the simulated Bluetooth service: scale, thermometer, environmental sensor."""

from __future__ import annotations

import hashlib
import re
from abc import abstractmethod
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from pitlogger_simulators.bluetooth import tree
from pitlogger_simulators.bluetooth.faults import RadioFault, RadioFaultKind, RadioFaultPoint
from pitlogger_simulators.bluetooth.peripherals import (
    Characteristic,
    GattService,
    Peripheral,
    presentation_format,
    user_description,
)
from pitlogger_simulators.bluetooth.world import World
from pitlogger_simulators.devices import frames
from pitlogger_simulators.devices.emulated import Emulated
from pitlogger_simulators.devices.instruments import Sample, Scale
from pitlogger_simulators.play import Outlet, Play
from pitlogger_simulators.scenarios.form import DeviceForm

_SINT16, _CELSIUS = 0x0E, 0x272F  # Bluetooth Assigned Numbers: format, unit
_LOCAL = 0x02  # first byte of a locally administered address


class OnBluetooth(Emulated):
    """A peripheral; each channel is a characteristic, named as ``World`` names it."""

    def __init__(self, play: Play, table: DeviceForm, world: World) -> None:
        super().__init__(play, table)
        self.world = world
        self.address = address_of(table.id)
        self._told_battery = -1
        self._lost: tuple[RadioFault, ...] = ()
        battery = Characteristic("2a19", ("read", "notify"), self._battery())
        self.peripheral = Peripheral(
            self.address, table.id, (*self.services(), GattService("180f", (battery,)))
        )
        world.add(self.peripheral)

    def send(self, due: Sequence[Outlet]) -> None:
        for channel, sample in self.samples(due).items():
            frames = [self.frame(channel, sample)]
            for frame in self.play.faults.frames(self.table.id, self.play.now_ms, frames):
                self.world.notify(self.address, self.characteristic(channel), frame)
        battery = self._battery()
        if battery[0] != self._told_battery:
            self._told_battery = battery[0]
            self.world.notify(self.address, "2a19", battery)

    def link(self, up: bool) -> None:
        self.peripheral.heard = up
        if not up:
            self.world.drop(self.address)

    def lose_tries(self, steps: frozenset[str]) -> None:
        self.world.faults.forget(self._lost)
        self._lost = tuple(
            RadioFault(RadioFaultPoint(s), RadioFaultKind.DROP, self.address, times=None)
            for s in steps
        )
        for fault in self._lost:
            self.world.faults.add(fault)
        self.world.drop(self.address)

    def close(self) -> None:
        self.world.remove(self.address)

    def keys(self) -> dict[str, Any]:
        return {"address": self.address}

    def _battery(self) -> bytes:
        return frames.battery_level(self.battery_pct())

    @abstractmethod
    def services(self) -> tuple[GattService, ...]:
        """Return its services, but for the battery's."""

    @abstractmethod
    def characteristic(self, channel: str) -> str:
        """Return the characteristic of a channel: ``2a6e``, or ``2a6e#2`` for the second."""

    @abstractmethod
    def frame(self, channel: str, sample: Sample) -> bytes:
        """Return the bytes of a sample."""


class GattScale(OnBluetooth):
    """Weight Scale service: indicated, 5 g steps, no word on steadiness.

    Its clock is that of the host, as though somebody had set it: a result with no time, or an
    old one, might be a stored one.
    """

    driver = "weight-scale"

    def services(self) -> tuple[GattService, ...]:
        return (GattService("181d", (Characteristic("2a9d", ("indicate",)),)),)

    def characteristic(self, channel: str) -> str:
        return "2a9d"

    def frame(self, channel: str, sample: Sample) -> bytes:
        scale = self.play.outlets[channel].instrument
        assert isinstance(scale, Scale)
        imperial = scale.unit in ("lb", "oz")
        return frames.weight_measurement(sample, imperial, datetime.now())  # noqa: DTZ005 - has no zone

    def channel_name(self, channel: str) -> str:
        return "mass"


class GattThermometer(OnBluetooth):
    """Health Thermometer service: one probe, notified as intermediate temperature."""

    driver = "health-thermometer"

    def services(self) -> tuple[GattService, ...]:
        measured = Characteristic("2a1c", ("indicate",))
        return (GattService("1809", (measured, Characteristic("2a1e", ("notify",)))),)

    def characteristic(self, channel: str) -> str:
        return "2a1e"

    def frame(self, channel: str, sample: Sample) -> bytes:
        return frames.temperature_measurement(sample)

    def channel_name(self, channel: str) -> str:
        return "temperature"


class GattEnvironmental(OnBluetooth):
    """Environmental Sensing service: several probes, characteristics of one UUID."""

    driver = "environmental-sensing"

    def services(self) -> tuple[GattService, ...]:
        probes = tuple(
            Characteristic(
                "2a6e",
                ("read", "notify"),
                frames.environmental_temperature(Sample(None)),
                (
                    user_description(outlet.channel),
                    presentation_format(_SINT16, -2, _CELSIUS, ordinal),
                ),
            )
            for ordinal, outlet in enumerate(self.outlets, start=1)
        )
        return (GattService("181a", probes),)

    def characteristic(self, channel: str) -> str:
        channels = [outlet.channel for outlet in self.outlets]
        return f"2a6e#{channels.index(channel) + 1}"

    def frame(self, channel: str, sample: Sample) -> bytes:
        return frames.environmental_temperature(sample)

    def channel_name(self, channel: str) -> str:
        if len(self.outlets) == 1:
            return "temperature"
        label = re.sub(r"[^a-z0-9]+", "-", channel.casefold()).strip("-")
        return f"temperature/{label}"


class Advertiser(Emulated):
    """A sensor that only advertises: BTHome v2 service data, plain."""

    driver = "bthome"

    def __init__(self, play: Play, table: DeviceForm, world: World) -> None:
        super().__init__(play, table)
        self.world = world
        self.address = address_of(table.id)
        self.peripheral = Peripheral(self.address, table.id)
        self._packet_id = 0
        self._shown: dict[str, Sample] = {}
        world.add(self.peripheral)

    def send(self, due: Sequence[Outlet]) -> None:
        self._shown |= self.samples(due)
        heats_c = [
            sample.value
            for outlet in self.outlets
            if (sample := self._shown.get(outlet.channel)) and sample.value is not None
        ]
        if len(heats_c) < len(self.outlets):
            return  # the format has no "no value": what is missing would shift the others
        self._packet_id = (self._packet_id + 1) & 0xFF
        frame = frames.bthome(self._packet_id, self.battery_pct(), heats_c)
        for given in self.play.faults.frames(self.table.id, self.play.now_ms, [frame]):
            self.peripheral.service_data["fcd2"] = given
            self.world.hear(self.peripheral, tree.advertised(self.peripheral))

    def link(self, up: bool) -> None:
        self.peripheral.heard = up

    def close(self) -> None:
        self.world.remove(self.address)

    def keys(self) -> dict[str, Any]:
        return {"address": self.address}

    def channel_name(self, channel: str) -> str:
        number = [outlet.channel for outlet in self.outlets].index(channel) + 1
        return "temperature" if number == 1 else f"temperature-{number}"


def address_of(device: str) -> str:
    """Return the address of an emulated device, always the same for a name."""
    digest = hashlib.blake2s(device.encode(), digest_size=5).digest()
    return ":".join(f"{byte:02X}" for byte in (_LOCAL, *digest))
