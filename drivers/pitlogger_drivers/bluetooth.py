"""What the drivers of Bluetooth devices share: their configuration, battery, signal."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from pitlogger.devices.contract import ChannelInfo, Chunk, DriverConfig, Measurement
from pitlogger.devices.framing import FrameDecoder
from pitlogger.devices.transports.ble.settings import GattSettings
from pitlogger.errors import ShortFrameError
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.battery.decode import decode as decode_battery

BATTERY = ChannelInfo("battery", Quantity.BATTERY, "%EL", "charge of the device's battery")
SIGNAL = ChannelInfo("signal", Quantity.SIGNAL, "dBm", "signal strength")


class BluetoothConfig(DriverConfig):
    """Which device; the address, or the name where the address changes."""

    address: str = Field(
        default="", pattern=r"^$|^[0-9A-Fa-f]{2}(:[0-9A-Fa-f]{2}){5}$", description="its address"
    )
    name: str = Field(default="", description="the name it advertises")
    adapter: str = Field(default="", description="hci0 and so on; empty for the best placed")
    service: str = Field(
        default="", description="a service it advertises, where its address changes and it has "
        "no name",
    )  # fmt: skip

    @model_validator(mode="after")
    def _one_is_given(self) -> Self:
        if not (self.address or self.name or self.service):
            raise ValueError(
                "give its address, its name or its service; find them: pitlogger devices scan"
            )
        return self


class GattConfig(BluetoothConfig):
    """A device that is connected to."""

    poll_s: float = Field(default=5.0, gt=0, description="pause between reads where it must ask")
    check_s: float = Field(default=30.0, gt=0, description="silence after which it is read")


def gatt_settings(config: GattConfig, *needed: str) -> GattSettings:
    """Return the settings of a link of which one of ``needed`` must be there."""
    return GattSettings(
        address=config.address,
        name=config.name,
        adapter=config.adapter,
        having=config.service,
        needed=needed,
        poll_s=config.poll_s,
        check_s=config.check_s,
    )


def battery_decoder() -> FrameDecoder:
    """Return a decoder of the battery level."""
    return FrameDecoder(decode_battery)


class SignalDecoder:
    """Read the signal strength an advertisement transport hands over: one byte, signed."""

    def feed(self, chunk: Chunk) -> list[Measurement | ShortFrameError]:
        """Return the signal strength in dBm."""
        if not chunk.data:
            return [ShortFrameError("signal strength of 0 bytes: expected 1")]
        dbm = int.from_bytes(chunk.data[:1], "little", signed=True)
        return [Measurement("signal", Quantity.SIGNAL, float(dbm), "dBm")]
