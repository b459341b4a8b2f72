"""1-Wire temperature sensors through the kernel."""

from __future__ import annotations

import errno
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import ClassVar

from pydantic import Field

from pitlogger.devices.contract import ChannelInfo, Chunk, DriverBase, DriverConfig, DriverInfo
from pitlogger.devices.framing import FrameDecoder
from pitlogger.devices.transports.polled import PolledTransport
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.routing import SourceDecoder
from pitlogger_drivers.sensor_files import read_text
from pitlogger_drivers.w1.decode import decode

_KIND = "w1"
_CONVERSION_S = 0.8  # 750 ms at 12 bits, Linux kernel documentation, w1_therm


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
        return SourceDecoder({_KIND: lambda: FrameDecoder(decode)})

    def transport(self, config: W1Config) -> PolledTransport:
        """Return the sensors' files, read in a thread."""
        seen: set[str] = set()
        return PolledTransport(
            lambda: read_sensors(config, seen),
            config.every_s,
            present=(config.root / config.sensor).exists,
            what=f"1-Wire sensor {config.sensor}" if config.sensor else "the 1-Wire bus",
        )


def read_sensors(config: W1Config, seen: set[str]) -> Iterator[Chunk]:
    """Yield the text of each sensor; with several on a bus they convert together.

    Args:
        seen: Ids of sensors that were there before; one that is not any more is open.

    Raises:
        OSError: No sensor is there.
    """
    if config.sensor:
        yield Chunk(_KIND, read_text(config.root / config.sensor / "w1_slave").encode())
        return
    sensors = sorted(config.root.glob("28-*"))
    if not sensors:
        raise FileNotFoundError(2, "no sensor of family 28", str(config.root))
    _convert_together(config.root)
    seen.update(sensor.name for sensor in sensors)
    for name in sorted(seen):
        try:
            text = read_text(config.root / name / "w1_slave")
        except OSError as error:  # it went, alone
            text = f"<{errno.errorcode.get(error.errno or 0, 'ENODEV')}>"
        yield Chunk(f"{_KIND}/{name}", text.encode())


def _convert_together(root: Path) -> None:
    """Let all sensors of each bus convert at once, where the kernel can."""
    for bus in root.glob("w1_bus_master*"):
        trigger = bus / "therm_bulk_read"
        with suppress(OSError):
            if not trigger.exists():
                continue
            trigger.write_text("trigger\n", encoding="ascii")
            until_s = time.monotonic() + _CONVERSION_S
            while trigger.read_text("ascii").strip() == "-1" and time.monotonic() < until_s:
                time.sleep(0.05)
