"""Serial scales that send lines by themselves, or when asked."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field, field_validator

from pitlogger.devices.contract import ChannelInfo, DriverBase, DriverInfo, Transport
from pitlogger.devices.framing import LineDecoder
from pitlogger.devices.transports.asking import AskingTransport
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.routing import UnitDecoder
from pitlogger_drivers.serial_line import ScaleConfig
from pitlogger_drivers.serial_scale.decode import parse


class SerialScaleConfig(ScaleConfig):
    """A scale; ``ask`` is what makes it send, where it does not by itself."""

    ask: str = Field(default="", description=r"request, with escapes: W\r")
    ask_every_s: float = Field(default=0.5, gt=0)

    @field_validator("ask")
    @classmethod
    def _unescape(cls, ask: str) -> str:
        if not ask.isascii():
            raise ValueError(r"a request is ASCII text with escapes such as \r, \n or \x05")
        return ask.encode("ascii").decode("unicode_escape")


class SerialScale(DriverBase):
    """A scale of the header or bare-number family."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="serial-scale",
        summary="serial scale that sends lines of text",
        transport="serial",
        channels=(
            ChannelInfo("mass", Quantity.MASS, "kg", "in the unit the scale shows"),
            ChannelInfo("tare", Quantity.MASS, "kg", "where the scale shows it"),
        ),
        interval_s=1.0,
        silence_s=15.0,
        config=SerialScaleConfig,
        signs=("port",),
        decoders=("serial-scale",),
    )

    def decoder(self, config: SerialScaleConfig) -> UnitDecoder:
        """Return a decoder of lines, the first of which may be a tail."""
        return UnitDecoder(LineDecoder(parse, midstream=not config.ask), config.unit)

    def transport(self, config: SerialScaleConfig) -> Transport:
        """Return the scale's port."""
        port = config.open_way()
        if not config.ask:
            return port
        return AskingTransport(port, config.ask.encode("latin-1"), config.ask_every_s)
