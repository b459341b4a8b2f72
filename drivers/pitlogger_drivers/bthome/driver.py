"""Sensors, scales and buttons that advertise in the open BTHome format."""

from __future__ import annotations

import time
from typing import ClassVar

from pydantic import Field

from pitlogger.devices.contract import (
    ChannelInfo,
    Chunk,
    DriverBase,
    DriverInfo,
    Measurement,
    Memory,
)
from pitlogger.devices.framing import Outcome
from pitlogger.devices.transports.ble.advertisements import (
    SIGNAL as SIGNAL_SOURCE,
)
from pitlogger.devices.transports.ble.advertisements import AdvertisementTransport
from pitlogger.devices.transports.ble.settings import AdvertisementSettings
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.bluetooth import BATTERY, SIGNAL, BluetoothConfig, SignalDecoder
from pitlogger_drivers.bthome.decode import ON_EVENTS, SERVICE, BTHomeDecoder, DeviceMemory, Secret
from pitlogger_drivers.routing import SourceDecoder

_STATE, _ON_EVENTS = "bthome", "speaks-on-events"


class BTHomeConfig(BluetoothConfig):
    """A device, and its key where it encrypts."""

    key: str = Field(
        default="", pattern=r"^$|^[0-9A-Fa-f]{32}$", description="32 hex digits, if it encrypts"
    )


class RememberingDecoder:
    """A BTHome decoder whose counter outlives the process, so that nothing can be replayed.

    Attributes:
        speaks_on_events: Its last frame said so, as a button's does.
    """

    def __init__(self, config: BTHomeConfig, memory: Memory) -> None:
        secret = Secret.of(bytes.fromhex(config.key), config.address) if config.key else None
        state = DeviceMemory.from_dict(memory.get(_STATE, {}))
        self._inner = BTHomeDecoder(secret, state, time.monotonic)
        self._memory = memory
        self.speaks_on_events = bool(memory.get(_ON_EVENTS))

    def feed(self, chunk: Chunk) -> list[Outcome]:
        """Return what a frame says, and keep its counter."""
        before = self._inner.state.counter
        outcomes = self._inner.feed(chunk)
        if self._inner.state.counter != before:
            self._memory[_STATE] = self._inner.state.to_dict()
        if any(isinstance(outcome, Measurement) for outcome in outcomes):
            self.speaks_on_events = bool(chunk.data[0] & ON_EVENTS)
            self._memory[_ON_EVENTS] = self.speaks_on_events
        return outcomes


class ReceptionDecoder(SourceDecoder):
    """Decodes frames and signal strength of one device."""

    def __init__(self, config: BTHomeConfig, memory: Memory) -> None:
        self._frames = RememberingDecoder(config, memory)
        super().__init__({"": lambda: self._frames, SIGNAL_SOURCE: SignalDecoder})

    @property
    def speaks_on_events(self) -> bool:
        """Whether the device speaks only when something happens."""
        return self._frames.speaks_on_events


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

    def decoder(self, config: BTHomeConfig) -> ReceptionDecoder:
        """Return a decoder for the data and the signal strength."""
        return ReceptionDecoder(config, self.memory)

    def transport(self, config: BTHomeConfig) -> AdvertisementTransport:
        """Return what the device advertises."""
        return AdvertisementTransport(
            AdvertisementSettings(
                address=config.address,
                name=config.name,
                having=config.service,
                service=SERVICE,
                adapter=config.adapter,
            )
        )
