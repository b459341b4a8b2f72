"""Devices described in a TOML file, without code."""

from __future__ import annotations

from pathlib import Path
from typing import Any, ClassVar

from pydantic import Field, model_validator

from pitlogger.devices.contract import ChannelInfo, Decoder, DriverBase, DriverInfo, Transport
from pitlogger.devices.decoders import declaration_text
from pitlogger.devices.transports.asking import AskingTransport
from pitlogger.devices.transports.ble.advertisements import (
    SIGNAL as SIGNAL_SOURCE,
)
from pitlogger.devices.transports.ble.advertisements import AdvertisementTransport
from pitlogger.devices.transports.ble.gatt import GattTransport
from pitlogger.devices.transports.ble.settings import (
    AdvertisementSettings,
    GattSettings,
    GattWrite,
    short_uuid,
)
from pitlogger.devices.transports.hidraw import HidSettings, HidTransport
from pitlogger.devices.transports.serial import SerialSettings, SerialTransport
from pitlogger.errors import ConfigError
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.bluetooth import BATTERY, SIGNAL, SignalDecoder, battery_decoder
from pitlogger_drivers.declared.decode import decoder
from pitlogger_drivers.declared.model import (
    AdvertisementSource,
    Declaration,
    GattSource,
    HidSource,
    SerialSource,
    parse,
)
from pitlogger_drivers.routing import SourceDecoder
from pitlogger_drivers.serial_line import SerialConfig


class DeclaredConfig(SerialConfig):
    """A declaration by path or name, and where the device is: port, or address or name."""

    file: str = Field(description="path of the TOML file, or the name of a declared device")
    port: str = ""
    address: str = ""
    name: str = ""
    adapter: str = ""
    service: str = ""
    serial: str = Field(default="", description="of a USB HID device, where there are several")

    @model_validator(mode="before")
    @classmethod
    def _interval_is_declared(cls, given: Any) -> Any:
        """Take the interval from the declaration, unless the configuration has one."""
        if isinstance(given, dict) and isinstance(given.get("file"), str):
            source = read_declaration(given["file"]).source
            return {"interval_s": source.interval_s} | given
        return given

    @model_validator(mode="after")
    def _place_is_given(self) -> DeclaredConfig:
        if isinstance(self.declaration.source, SerialSource):
            if not self.port:
                raise ValueError("a declared serial device needs its port")
        elif isinstance(self.declaration.source, HidSource):
            return self
        elif not (self.address or self.name or self.service):
            raise ValueError("a declared Bluetooth device needs its address, name or service")
        return self

    @property
    def declaration(self) -> Declaration:
        """What the file says."""
        return read_declaration(self.file)


def read_declaration(name: str) -> Declaration:
    """Return a declaration by path or name.

    Raises:
        ConfigError: There is none, or it cannot be used.
    """
    text = declaration_text(name)
    if text is None:
        raise ConfigError(
            f"there is no declared device '{name}': give the path of its .toml file, or put it "
            "where 'pitlogger decode --list' finds it"
        )
    return parse(text, Path(name).name)


class Declared(DriverBase):
    """A device of one's own description."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="declared",
        summary="device described in a TOML file",
        transport="serial",
        channels=(
            ChannelInfo("*", Quantity.TEMPERATURE, "Cel"),
            ChannelInfo("*", Quantity.MASS, "g"),
            ChannelInfo("*", Quantity.HUMIDITY, "%RH"),
            ChannelInfo("*", Quantity.VOLTAGE, "V"),
            ChannelInfo("*", Quantity.PRESSURE, "Pa"),
            BATTERY,
            SIGNAL,
        ),
        interval_s=10.0,
        config=DeclaredConfig,
        decoders=("declared",),
    )

    def decoder(self, config: DeclaredConfig) -> Decoder:
        """Return a decoder of what is declared, and of battery or signal beside it."""
        declaration = config.declaration
        source = declaration.source
        if isinstance(source, GattSource):
            kind = short_uuid(source.characteristic)
            kinds = {kind: lambda: decoder(declaration), "2a19": battery_decoder}
            gives = [ChannelInfo(v.channel, v.quantity, v.unit) for v in declaration.value]
            return SourceDecoder(kinds, {kind: gives})
        return SourceDecoder({"": lambda: decoder(declaration), SIGNAL_SOURCE: SignalDecoder})

    def transport(self, config: DeclaredConfig) -> Transport:
        """Return the way the declaration names."""
        source = config.declaration.source
        if isinstance(source, SerialSource):
            return _serial(config, source)
        if isinstance(source, HidSource):
            return HidTransport(HidSettings(source.usage_page, source.usage, config.serial))
        if isinstance(source, AdvertisementSource):
            return AdvertisementTransport(
                AdvertisementSettings(
                    address=config.address,
                    name=config.name,
                    having=config.service,
                    service=source.service or "",
                    maker=source.company,
                    adapter=config.adapter,
                )
            )
        return _gatt(config, source)


def _serial(config: DeclaredConfig, source: SerialSource) -> Transport:
    port = SerialTransport(SerialSettings(config.port, source.baud, source.format))
    if not source.poll:
        return port
    request = source.poll.encode("utf-8")
    return AskingTransport(port, request, source.interval_s / 2)


def _gatt(config: DeclaredConfig, source: GattSource) -> Transport:
    link = GattTransport(
        GattSettings(
            address=config.address,
            name=config.name,
            having=config.service,
            adapter=config.adapter,
            needed=(source.characteristic,),
            written=source.poll_characteristic or "",
            poll_s=source.interval_s / 2,
            start=tuple(
                GattWrite(one.characteristic, bytes.fromhex(one.bytes), one.wait_s)
                for one in source.start
            ),
        )
    )
    if not source.poll:
        return link
    return AskingTransport(link, bytes.fromhex(source.poll), source.interval_s / 2)
