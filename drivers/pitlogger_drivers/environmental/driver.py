"""Bluetooth probes with the Environmental Sensing service, many of one kind in one device."""

from __future__ import annotations

from typing import ClassVar

from pitlogger.devices.contract import ChannelInfo, DriverBase, DriverInfo
from pitlogger.devices.framing import FrameDecoder
from pitlogger.devices.transports.ble.gatt import GattTransport
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.bluetooth import BATTERY, GattConfig, battery_decoder, gatt_settings
from pitlogger_drivers.environmental.decode import decode_humidity, decode_temperature
from pitlogger_drivers.routing import SourceDecoder


class EnvironmentalSensing(DriverBase):
    """Temperatures and humidities; several are called by what tells them apart."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="environmental-sensing",
        summary="Bluetooth probes (Environmental Sensing service), up to 327.67 degC",
        transport="ble-gatt",
        channels=(
            ChannelInfo("temperature*", Quantity.TEMPERATURE, "Cel", "one a probe"),
            ChannelInfo("humidity*", Quantity.HUMIDITY, "%RH"),
            BATTERY,
        ),
        interval_s=30.0,
        config=GattConfig,
        signs=("service:181a",),
        decoders=("gatt-2a6e", "gatt-2a6f", "gatt-2a19"),
    )

    def decoder(self, config: GattConfig) -> SourceDecoder:
        """Return a decoder for all probes and the battery."""
        return SourceDecoder(
            {
                "2a6e": lambda: FrameDecoder(decode_temperature),
                "2a6f": lambda: FrameDecoder(decode_humidity),
                "2a19": battery_decoder,
            },
            {
                "2a6e": (ChannelInfo("temperature", Quantity.TEMPERATURE, "Cel"),),
                "2a6f": (ChannelInfo("humidity", Quantity.HUMIDITY, "%RH"),),
            },
        )

    def transport(self, config: GattConfig) -> GattTransport:
        """Return a link to the probes."""
        return GattTransport(gatt_settings(config, "2a6e", "2a6f"))
