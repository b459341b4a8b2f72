"""1-Wire temperature sensors through the kernel."""

from __future__ import annotations

from pathlib import Path
from typing import ClassVar

from pydantic import Field

from pitlogger.devices.contract import ChannelInfo, DriverBase, DriverConfig, DriverInfo
from pitlogger.devices.framing import FrameDecoder
from pitlogger.devices.transports.polled import PolledTransport
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality
from pitlogger_drivers.routing import SourceDecoder
from pitlogger_drivers.w1.bus import KIND, Bus
from pitlogger_drivers.w1.decode import decode

_GIVES = (ChannelInfo("temperature", Quantity.TEMPERATURE, "Cel"),)


class W1Config(DriverConfig):
    """One sensor by its ROM id, or all of the bus."""

    sensor: str = Field(
        default="", pattern=r"^$|^[0-9a-f]{2}-[0-9a-f]{12}$", description="its ROM id; else all"
    )
    every_s: float = Field(default=5.0, gt=0)
    root: Path = Path("/sys/bus/w1/devices")


class W1(DriverBase):
    """Sensors called by their ROM id, or one called ``temperature``."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="w1",
        summary="temperature sensor on the kernel's 1-Wire bus, up to 125 degC",
        transport="sysfs",
        channels=(ChannelInfo("temperature*", Quantity.TEMPERATURE, "Cel"),),
        interval_s=10.0,
        silence_s=60.0,
        config=W1Config,
        signs=("w1",),
        decoders=("w1",),
    )

    def decoder(self, config: W1Config) -> SourceDecoder:
        """Return a decoder a sensor."""
        return SourceDecoder({KIND: lambda: FrameDecoder(decode)}, {KIND: _GIVES}, Quality.OPEN)

    def transport(self, config: W1Config) -> PolledTransport:
        """Return the sensors' files, read in a thread."""
        bus = Bus(config.root, config.sensor, self.memory)
        return PolledTransport(
            bus.read,
            config.every_s,
            present=(config.root / config.sensor).exists,
            what=f"1-Wire sensor {config.sensor}" if config.sensor else "the 1-Wire bus",
            instead=bus.instead,
        )
