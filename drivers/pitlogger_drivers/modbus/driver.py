"""Modbus transmitters: RTU on a serial line, TCP in the network."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field, field_validator, model_validator

from pitlogger.devices.contract import ChannelInfo, DriverBase, DriverInfo, Transport
from pitlogger.errors import ConfigError, TransportError
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.modbus.decode import RegistersDecoder
from pitlogger_drivers.modbus.registers import TYPES, parse_map
from pitlogger_drivers.serial_line import SerialConfig


class ModbusConfig(SerialConfig):
    """A unit on a line or in the network, and what its registers mean."""

    port: str = Field(default="", description="serial: by its name under /dev/serial/by-id/")
    host: str = Field(default="", description="network: name or address, in place of port")
    tcp_port: int = Field(default=502, ge=1, le=65535, description="network: its port")

    unit: int = Field(default=1, ge=1, le=247, description="address of the unit")
    function: int = Field(default=3, ge=3, le=4, description="3 holding, 4 input registers")
    address: int = Field(default=0, ge=0, le=0xFFFF, description="first register")
    map: str = Field(description="REGISTER:TYPE:SCALE:UNIT,..., as in 0:i16:0.1:Cel")
    every_s: float = Field(default=1.0, gt=0)
    patience_s: float = Field(default=1.0, gt=0, description="how long an answer may take")

    @field_validator("map")
    @classmethod
    def _is_map(cls, text: str) -> str:
        try:
            entries = parse_map(text)
        except ConfigError as error:
            raise ValueError(str(error)) from None
        if not entries:
            raise ValueError("say what the registers mean, such as 0:i16:0.1:Cel")
        return text

    @model_validator(mode="after")
    def _has_one_way(self) -> ModbusConfig:
        if bool(self.port) is bool(self.host):
            raise ValueError("give either its serial port or, for Modbus TCP, its host")
        return self

    @property
    def way(self) -> str:
        """Port or host in words."""
        return f"{self.host}:{self.tcp_port}" if self.host else f"serial port {self.port}"

    @property
    def count(self) -> int:
        """How many registers there are up to the last of the map."""
        return max(e.register + TYPES[e.type].size // 2 for e in parse_map(self.map))


class Modbus(DriverBase):
    """A transmitter; channels are called by their register."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="modbus",
        summary="Modbus transmitter, RTU or TCP",
        transport="modbus",
        channels=(
            ChannelInfo("register-*", Quantity.TEMPERATURE, "Cel"),
            ChannelInfo("register-*", Quantity.MASS, "kg"),
            ChannelInfo("register-*", Quantity.HUMIDITY, "%RH"),
        ),
        interval_s=5.0,
        silence_s=30.0,
        config=ModbusConfig,
        signs=("port",),
        decoders=("modbus",),
    )

    def decoder(self, config: ModbusConfig) -> RegistersDecoder:
        """Return a decoder of registers."""
        return RegistersDecoder(parse_map(config.map))

    def transport(self, config: ModbusConfig) -> Transport:
        """Return the unit's registers.

        Raises:
            TransportError: The library for Modbus is not installed.
        """
        try:
            from pitlogger_drivers.modbus.transport import ModbusTransport
        except ImportError as error:
            raise TransportError(
                f"the driver 'modbus' needs the library pymodbus ({error})",
                remedy="Install it: pip install 'pitlogger[modbus]'",
            ) from None
        return ModbusTransport(config)
