"""Micro-controllers that print separated values on a serial line."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from pitlogger.devices.contract import ChannelInfo, DriverBase, DriverInfo
from pitlogger.devices.framing import LineDecoder
from pitlogger.devices.transports.serial import SerialTransport
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.columns import parse_map
from pitlogger_drivers.conversion import Conversion, ConvertingDecoder
from pitlogger_drivers.csv_line.decode import CsvParser
from pitlogger_drivers.routing import UnitDecoder
from pitlogger_drivers.serial_line import SerialConfig


class CsvLineConfig(SerialConfig):
    """A port, and what the columns mean where no header tells."""

    baud: int = Field(default=115200, ge=50, le=4_000_000)
    map: str = Field(default="", description="columns in order: ms,pit:Cel,bench:kg")
    unit: str = Field(default="", description="of columns without one, if all have the same")
    convert: dict[str, Conversion] = Field(
        default_factory=dict, description="columns in mV or ohm, and what sensor they come from"
    )


class CsvLine(DriverBase):
    """A board of one's own; its header or a map names the columns."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="csv-line",
        summary="micro-controller that prints separated values or JSON",
        transport="serial",
        channels=(
            ChannelInfo("*", Quantity.TEMPERATURE, "Cel"),
            ChannelInfo("*", Quantity.MASS, "g"),
            ChannelInfo("*", Quantity.HUMIDITY, "%RH"),
            ChannelInfo("*", Quantity.BATTERY, "%EL"),
            ChannelInfo("*", Quantity.VOLTAGE, "V"),
            ChannelInfo("*", Quantity.PRESSURE, "Pa"),
            ChannelInfo("*", Quantity.SIGNAL, "dBm"),
        ),
        interval_s=5.0,
        silence_s=60.0,
        config=CsvLineConfig,
        signs=("port",),
        decoders=("csv-line",),
    )

    def decoder(self, config: CsvLineConfig) -> UnitDecoder:
        """Return a decoder of lines, the first of which may be a tail."""
        parser = CsvParser(parse_map(config.map))
        raw = LineDecoder(parser.parse, midstream=True)
        return UnitDecoder(ConvertingDecoder(raw, config.convert), config.unit)

    def transport(self, config: CsvLineConfig) -> SerialTransport:
        """Return the board's port."""
        return config.open_way()
