"""What the drivers of serial devices share."""

from __future__ import annotations

from pydantic import Field, field_validator

from pitlogger.devices.contract import DriverConfig
from pitlogger.devices.transports.serial import FRAMINGS, SerialSettings, SerialTransport
from pitlogger.model.quantities import MG_PER


class SerialConfig(DriverConfig):
    """A port and its line settings."""

    port: str = Field(description="by the name that stays: /dev/serial/by-id/...")
    baud: int = Field(default=9600, ge=50, le=4_000_000)
    framing: str = Field(default="8N1", description="data bits, parity, stop bits: 8N1, 7E1")

    @field_validator("framing")
    @classmethod
    def _is_framing(cls, framing: str) -> str:
        if framing not in FRAMINGS:
            raise ValueError("write data bits, parity and stop bits, as in 8N1 or 7E1")
        return framing

    def open_way(self) -> SerialTransport:
        """Return the port, not yet open."""
        return SerialTransport(SerialSettings(self.port, self.baud, self.framing))


class ScaleConfig(SerialConfig):
    """A serial scale."""

    unit: str = Field(default="", description="where its lines carry none: kg g mg lb oz")

    @field_validator("unit")
    @classmethod
    def _is_mass_unit(cls, unit: str) -> str:
        if unit and unit not in MG_PER:
            raise ValueError(f"a unit of mass is one of {', '.join(MG_PER)}")
        return unit
