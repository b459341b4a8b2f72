"""Sensors, scales and buttons that advertise in the open BTHome format."""

from __future__ import annotations

import time
from typing import ClassVar

from pydantic import Field

from pitlogger.devices.contract import ChannelInfo, Chunk, DriverBase, DriverInfo, Memory
from pitlogger.devices.framing import Outcome
from pitlogger.devices.transports.ble.advertisements import (
    SIGNAL as SIGNAL_SOURCE,
)
from pitlogger.devices.transports.ble.advertisements import AdvertisementTransport
from pitlogger.devices.transports.ble.settings import AdvertisementSettings
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.bluetooth import BATTERY, SIGNAL, BluetoothConfig, SignalDecoder
from pitlogger_drivers.bthome.decode import SERVICE, BTHomeDecoder, Secret, State
from pitlogger_drivers.routing import SourceDecoder

_STATE = "bthome"


class BTHomeConfig(BluetoothConfig):
    """A device, and its key where it encrypts."""

    key: str = Field(
        default="", pattern=r"^$|^[0-9A-Fa-f]{32}$", description="32 hex digits, if it encrypts"
    )


class RememberingDecoder:
    """A BTHome decoder whose counter outlives the process, so that nothing can be replayed."""

    def __init__(self, config: BTHomeConfig, memory: Memory) -> None:
        secret = Secret.of(bytes.fromhex(config.key), config.address) if config.key else None
        state = State.from_dict(memory.get(_STATE, {}))
        self._inner = BTHomeDecoder(secret, state, time.monotonic)
        self._memory = memory

    def feed(self, chunk: Chunk) -> list[Outcome]:
        """Return what a frame says, and keep its counter."""
        before = self._inner.state.counter
        outcomes = self._inner.feed(chunk)
        if self._inner.state.counter != before:
            self._memory[_STATE] = self._inner.state.to_dict()
        return outcomes


class BTHome(DriverBase):
    """One device that advertises; readings are called by their place in the frame."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="bthome",
        summary="Bluetooth sensor, scale or button that advertises (BTHome v2)",
        transport="ble-advertisement",
        channels=(
            ChannelInfo("temperature*", Quantity.TEMPERATURE, "Cel"),
            ChannelInfo("dew-point*", Quantity.TEMPERATURE, "Cel"),
            ChannelInfo("mass*", Quantity.MASS, "kg", "steps of 10 g"),
            ChannelInfo("humidity*", Quantity.HUMIDITY, "%RH"),
            ChannelInfo("pressure*", Quantity.PRESSURE, "Pa"),
            ChannelInfo("voltage*", Quantity.VOLTAGE, "V"),
            ChannelInfo("button*", Quantity.BUTTON, "", "1 press, 2 double, 3 triple, 4 long"),
            ChannelInfo("dimmer*", Quantity.BUTTON, "", "steps turned; left is negative"),
            ChannelInfo("battery-low", Quantity.BATTERY, "", "1 when it should be changed"),
            BATTERY,
            SIGNAL,
        ),
        interval_s=60.0,
        silence_s=600.0,
        config=BTHomeConfig,
        signs=("service-data:fcd2",),
        decoders=("bthome",),
    )

    def decoder(self, config: BTHomeConfig) -> SourceDecoder:
        """Return a decoder for the data and the signal strength."""
        return SourceDecoder(
            {"": lambda: RememberingDecoder(config, self.memory), SIGNAL_SOURCE: SignalDecoder}
        )

    def transport(self, config: BTHomeConfig) -> AdvertisementTransport:
        """Return what the device advertises."""
        return AdvertisementTransport(
            AdvertisementSettings(
                address=config.address, name=config.name, service=SERVICE, adapter=config.adapter
            )
        )
