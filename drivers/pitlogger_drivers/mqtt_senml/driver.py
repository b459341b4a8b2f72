"""Readings that other programs publish over MQTT as SenML packs."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field, SecretStr

from pitlogger.devices.contract import ChannelInfo, DriverBase, DriverConfig, DriverInfo
from pitlogger.devices.framing import FrameDecoder
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.mqtt_senml.decode import decode
from pitlogger_drivers.mqtt_senml.transport import BrokerTransport

CHANNELS = tuple(
    ChannelInfo("*", quantity, unit)
    for quantity, unit in (
        (Quantity.TEMPERATURE, "Cel"),
        (Quantity.MASS, "kg"),
        (Quantity.HUMIDITY, "%RH"),
        (Quantity.BATTERY, "%EL"),
        (Quantity.SIGNAL, "dBm"),
        (Quantity.PRESSURE, "Pa"),
        (Quantity.VOLTAGE, "V"),
    )
)


class MqttSenmlConfig(DriverConfig):
    """A broker and a topic; wildcards are allowed."""

    host: str = "localhost"
    port: int = Field(default=1883, ge=1, le=65535)
    topic: str = Field(min_length=1, description="such as smoker/senml or smoker/+/senml")
    username: str = ""
    password: SecretStr = SecretStr("")
    tls: bool = False
    ca_file: str = Field(default="", description="own certificate authority; else the system's")


class MqttSenml(DriverBase):
    """Channels are called as the packs call them."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="mqtt-senml",
        summary="SenML packs (RFC 8428) from an MQTT broker",
        transport="mqtt",
        channels=CHANNELS,
        interval_s=60.0,
        config=MqttSenmlConfig,
        decoders=("senml",),
    )

    def decoder(self, config: MqttSenmlConfig) -> FrameDecoder:
        """Return a decoder of packs."""
        return FrameDecoder(decode)

    def transport(self, config: MqttSenmlConfig) -> BrokerTransport:
        """Return the broker's messages."""
        return BrokerTransport(config)
