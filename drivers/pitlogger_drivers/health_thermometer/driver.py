"""Bluetooth thermometers with the Health Thermometer service."""

from __future__ import annotations

from typing import ClassVar

from pitlogger.devices.contract import ChannelInfo, DriverBase, DriverInfo
from pitlogger.devices.framing import FrameDecoder
from pitlogger.devices.transports.ble.gatt import GattTransport
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.bluetooth import BATTERY, GattConfig, battery_decoder, gatt_settings
from pitlogger_drivers.health_thermometer.decode import decode
from pitlogger_drivers.routing import SourceDecoder

_TEMPERATURE = (ChannelInfo("temperature", Quantity.TEMPERATURE, "Cel"),)


class HealthThermometer(DriverBase):
    """A thermometer that sends final and intermediate values of one or more sensors."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="health-thermometer",
        summary="Bluetooth thermometer (Health Thermometer service)",
        transport="ble-gatt",
        channels=(
            ChannelInfo("temperature*", Quantity.TEMPERATURE, "Cel", "final and intermediate"),
            BATTERY,
        ),
        interval_s=60.0,
        config=GattConfig,
        signs=("service:1809",),
        decoders=("gatt-2a1c", "gatt-2a1e", "gatt-2a19"),
    )

    def decoder(self, config: GattConfig) -> SourceDecoder:
        """Return a decoder for all sensors and the battery."""
        return SourceDecoder(
            {
                "2a1c": lambda: FrameDecoder(decode),
                "2a1e": lambda: FrameDecoder(decode),
                "2a19": battery_decoder,
            },
            {"2a1c": _TEMPERATURE, "2a1e": _TEMPERATURE},
        )

    def transport(self, config: GattConfig) -> GattTransport:
        """Return a link to the thermometer."""
        return GattTransport(gatt_settings(config, "2a1c", "2a1e"))
