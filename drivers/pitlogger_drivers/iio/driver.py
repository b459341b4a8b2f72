"""Thermocouple amplifiers and other thermometers of the kernel's industrial I/O."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import ClassVar

from pydantic import Field

from pitlogger.devices.contract import ChannelInfo, Chunk, DriverBase, DriverConfig, DriverInfo
from pitlogger.devices.framing import FrameDecoder
from pitlogger.devices.transports.polled import PolledTransport
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.iio.decode import decode
from pitlogger_drivers.sensor_files import folder_named, read_pairs, words

_FAULTS = ("fault_oc", "fault_ovuv")


class IioConfig(DriverConfig):
    """The amplifier by the name of its chip; ``device`` tells several of one name apart."""

    name: str = Field(default="", description="as in the file 'name'")
    device: str = Field(default="", description="folder such as iio:device0; moves between boots")
    every_s: float = Field(default=1.0, gt=0)
    root: Path = Path("/sys/bus/iio/devices")

    def folder(self) -> Path | None:
        """Return the amplifier's folder, if it is there."""
        if self.device:
            folder = self.root / self.device
            return folder if folder.is_dir() else None
        if self.name:
            return folder_named(self.root, "iio:device*", self.name)
        return next(iter(sorted(self.root.glob("iio:device*"))), None)


class Iio(DriverBase):
    """A thermocouple, with its cold junction where the chip tells it."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="iio",
        summary="thermocouple amplifier of the kernel (industrial I/O)",
        transport="sysfs",
        channels=(
            ChannelInfo("temperature*", Quantity.TEMPERATURE, "Cel"),
            ChannelInfo("cold-junction*", Quantity.TEMPERATURE, "Cel"),
        ),
        interval_s=5.0,
        silence_s=30.0,
        config=IioConfig,
        signs=("iio",),
        decoders=("iio",),
    )

    def decoder(self, config: IioConfig) -> FrameDecoder:
        """Return a decoder of the files' text."""
        return FrameDecoder(decode)

    def transport(self, config: IioConfig) -> PolledTransport:
        """Return the amplifier's files, read in a thread."""
        return PolledTransport(
            lambda: read_amplifier(config),
            config.every_s,
            present=lambda: config.folder() is not None,
            what=f"thermocouple amplifier {config.name or config.device}".strip(),
        )


def read_amplifier(config: IioConfig) -> Iterator[Chunk]:
    """Yield the text of one amplifier, its faults read before and after its value.

    Raises:
        OSError: It is not there, or went while being read.
    """
    folder = config.folder()
    if folder is None:
        missing = config.root / (config.device or config.name)
        raise FileNotFoundError(2, "no such amplifier", str(missing))
    faults = [name for name in _FAULTS if (folder / name).exists()]
    before = read_pairs(folder, faults)
    values = read_pairs(folder, sorted(path.name for path in folder.glob("in_temp*")))
    after = read_pairs(folder, faults)
    # A probe pulled while its value was read shows in one of the two looks.
    seen = {name: max(before[name], after[name]) for name in faults}
    known = {name: value for name, value in values.items() if not name.endswith("_type")}
    yield Chunk("", words(known | seen))
