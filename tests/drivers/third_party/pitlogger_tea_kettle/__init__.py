"""An invented kettle that prints ``T=95.2`` on a serial line: a whole driver in a page."""

from __future__ import annotations

import re
from typing import ClassVar

from pitlogger.devices.contract import (
    ChannelInfo,
    DriverBase,
    DriverConfig,
    DriverInfo,
    Measurement,
)
from pitlogger.devices.framing import LineDecoder
from pitlogger.devices.transports.serial import SerialSettings, SerialTransport
from pitlogger.errors import MalformedError
from pitlogger.model.quantities import Quantity

_LINE = re.compile(r"T=(-?\d{1,3}\.\d)")


def decode(line: bytes) -> tuple[Measurement, ...]:
    """Return the temperature of one line.

    Raises:
        MalformedError: No such line.
    """
    match = _LINE.fullmatch(line.decode("ascii", errors="replace").strip())
    if match is None:
        raise MalformedError(f"{line!r}: expected a line such as T=95.2")
    return (Measurement("temperature", Quantity.TEMPERATURE, float(match[1]), "Cel"),)


class KettleConfig(DriverConfig):
    """Where the kettle is plugged in."""

    port: str


class TeaKettle(DriverBase):
    """The kettle."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="tea-kettle",
        summary="a kettle that prints its temperature",
        transport="serial",
        channels=(ChannelInfo("temperature", Quantity.TEMPERATURE, "Cel"),),
        interval_s=1.0,
        silence_s=10.0,
        config=KettleConfig,
    )

    def decoder(self, config: KettleConfig) -> LineDecoder:
        return LineDecoder(decode, midstream=True)

    def transport(self, config: KettleConfig) -> SerialTransport:
        return SerialTransport(SerialSettings(config.port))
