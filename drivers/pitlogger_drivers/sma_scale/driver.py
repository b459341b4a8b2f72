"""Serial scales that speak the open standard SMA SCP-0499."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from pitlogger.devices.contract import ChannelInfo, DriverBase, DriverInfo
from pitlogger.devices.framing import LineDecoder
from pitlogger.devices.transports.asking import AskingTransport
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.routing import UnitDecoder
from pitlogger_drivers.serial_line import ScaleConfig
from pitlogger_drivers.sma_scale.decode import REQUESTS, decode


class SmaScaleConfig(ScaleConfig):
    """A scale that answers requests."""

    ask_every_s: float = Field(default=0.5, gt=0)
    high_resolution: bool = False


class SmaScale(DriverBase):
    """A scale that is asked for its weight, and takes zero and tare."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="sma-scale",
        summary="serial scale after the open standard SMA SCP-0499",
        transport="serial",
        channels=(
            ChannelInfo("mass", Quantity.MASS, "kg", "in the unit the scale shows"),
            ChannelInfo("tare", Quantity.MASS, "kg", "in tare mode"),
        ),
        interval_s=1.0,
        silence_s=15.0,
        config=SmaScaleConfig,
        signs=("port",),
        decoders=("sma-scale",),
        commands=("zero", "tare"),
    )
    requests: ClassVar[dict[str, bytes]] = {name: REQUESTS[name] for name in ("zero", "tare")}

    def decoder(self, config: SmaScaleConfig) -> UnitDecoder:
        """Return a decoder of answers."""
        return UnitDecoder(LineDecoder(decode), config.unit)

    def transport(self, config: SmaScaleConfig) -> AskingTransport:
        """Return the port, with the weight asked for at a steady pace."""
        question = REQUESTS["weight-high-resolution" if config.high_resolution else "weight"]
        return AskingTransport(config.open_way(), question, config.ask_every_s)
