"""Scanners on a serial line, and scanners that pose as a keyboard."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from pitlogger.devices.contract import ChannelInfo, DriverBase, DriverConfig, DriverInfo
from pitlogger.devices.framing import LineDecoder
from pitlogger.devices.transports.evdev import KeyboardSettings, grab
from pitlogger.devices.transports.hidraw import HidTransport
from pitlogger.devices.transports.serial import SerialTransport
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.code_scanner.decode import KeyboardDecoder, parse
from pitlogger_drivers.serial_line import SerialConfig

_CODE = ChannelInfo("code", Quantity.CODE, "", "text of the code that was scanned")
_A_DAY_S = 86_400.0  # nobody scans for hours


class LineScanner(DriverBase):
    """A scanner that sends lines."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="line-scanner",
        summary="code scanner that sends lines over a serial port",
        transport="serial",
        channels=(_CODE,),
        interval_s=_A_DAY_S,
        config=SerialConfig,
        decoders=("line-scanner",),
    )

    def decoder(self, config: SerialConfig) -> LineDecoder:
        """Return a decoder of lines."""
        return LineDecoder(parse)

    def transport(self, config: SerialConfig) -> SerialTransport:
        """Return the scanner's port."""
        return config.open_way()


class KeyboardConfig(DriverConfig):
    """Which keyboard is the scanner: there is no guessing, it is taken from all else."""

    node: str = Field(
        pattern=r"^/.+", description="by the name that stays: /dev/input/by-id/...-event-kbd"
    )


class KeyboardScanner(DriverBase):
    """A scanner that types; its keys reach nothing else while pitlogger reads it."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="keyboard-scanner",
        summary="code scanner that types as a keyboard would",
        transport="evdev",
        channels=(_CODE,),
        interval_s=_A_DAY_S,
        config=KeyboardConfig,
        decoders=("keyboard-scanner",),
    )

    def decoder(self, config: KeyboardConfig) -> KeyboardDecoder:
        """Return a decoder of key events."""
        return KeyboardDecoder()

    def transport(self, config: KeyboardConfig) -> HidTransport:
        """Return the scanner's events, for us alone."""
        return HidTransport(KeyboardSettings(config.node), grab)
