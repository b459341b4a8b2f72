"""Thermometers of the kernel's hardware monitoring."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import ClassVar

from pydantic import Field

from pitlogger.devices.contract import ChannelInfo, Chunk, DriverBase, DriverConfig, DriverInfo
from pitlogger.devices.framing import FrameDecoder
from pitlogger.devices.transports.polled import PolledTransport
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.hwmon.decode import decode
from pitlogger_drivers.sensor_files import folder_named, read_pairs, words


class HwmonConfig(DriverConfig):
    """The chip by the name in its file ``name``."""

    name: str
    every_s: float = Field(default=2.0, gt=0)
    root: Path = Path("/sys/class/hwmon")

    def folder(self) -> Path | None:
        """Return the chip's folder, if it is there."""
        return folder_named(self.root, "hwmon*", self.name)


class Hwmon(DriverBase):
    """A chip with one or more thermometers."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="hwmon",
        summary="thermometer chip of the kernel (hardware monitoring)",
        transport="sysfs",
        channels=(ChannelInfo("temperature*", Quantity.TEMPERATURE, "Cel"),),
        interval_s=5.0,
        silence_s=30.0,
        config=HwmonConfig,
        signs=("hwmon",),
        decoders=("hwmon",),
    )

    def decoder(self, config: HwmonConfig) -> FrameDecoder:
        """Return a decoder of the files' text."""
        return FrameDecoder(decode)

    def transport(self, config: HwmonConfig) -> PolledTransport:
        """Return the chip's files, read in a thread."""
        return PolledTransport(
            lambda: read_chip(config),
            config.every_s,
            present=lambda: config.folder() is not None,
            what=f"thermometer chip {config.name}",
        )


def read_chip(config: HwmonConfig) -> Iterator[Chunk]:
    """Yield the text of one chip: faults first, then values.

    Raises:
        OSError: It is not there, or went while being read.
    """
    folder = config.folder()
    if folder is None:
        raise FileNotFoundError(2, "no such chip", str(config.root / config.name))
    faults = sorted(path.name for path in folder.glob("temp*_fault"))
    values = sorted(path.name for path in folder.glob("temp*_input"))
    yield Chunk("", words(read_pairs(folder, [*faults, *values])))
