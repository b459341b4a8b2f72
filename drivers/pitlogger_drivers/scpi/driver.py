"""Laboratory thermometers on a serial line that answer SCPI questions."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from pitlogger.devices.contract import ChannelInfo, DriverBase, DriverInfo
from pitlogger.devices.framing import LineDecoder
from pitlogger.devices.transports.asking import AskingTransport
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.columns import parse_map
from pitlogger_drivers.scpi.decode import CLEAR, IDENTIFY, MEASURE, ScpiParser
from pitlogger_drivers.serial_line import SerialConfig


class ScpiConfig(SerialConfig):
    """An instrument, and what its values mean."""

    question: str = Field(default="", description="MEAS:TEMP? unless given, such as (@1,3)")
    every_s: float = Field(default=1.0, gt=0)
    map: str = Field(default="", description="names and units in order: pit:Cel,core:Cel")


class Scpi(DriverBase):
    """An instrument that is asked one question at a time."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="scpi",
        summary="laboratory thermometer that answers SCPI questions",
        transport="serial",
        channels=(ChannelInfo("*", Quantity.TEMPERATURE, "Cel"),),
        interval_s=2.0,
        silence_s=30.0,
        config=ScpiConfig,
        signs=("port",),
        decoders=("scpi",),
        commands=("clear",),
    )
    requests: ClassVar[dict[str, bytes]] = {"clear": CLEAR}

    def decoder(self, config: ScpiConfig) -> LineDecoder:
        """Return a decoder of answers."""
        return LineDecoder(ScpiParser(parse_map(config.map)).parse)

    def transport(self, config: ScpiConfig) -> AskingTransport:
        """Return the instrument's port, with the question asked at a steady pace."""
        question = f"{config.question}\n".encode("ascii") if config.question else MEASURE
        return AskingTransport(
            config.open_way(), question, config.every_s, first=IDENTIFY, after_silence=CLEAR
        )
