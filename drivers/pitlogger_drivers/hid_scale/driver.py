"""USB scales of the HID weighing class."""

from __future__ import annotations

from pathlib import Path
from typing import ClassVar

from pydantic import Field

from pitlogger.devices.contract import ChannelInfo, DriverBase, DriverConfig, DriverInfo
from pitlogger.devices.framing import FrameDecoder
from pitlogger.devices.transports.hidraw import DEV, SYSFS, HidSettings, HidTransport
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.hid_scale.decode import decode

# USB-IF HID usage tables, page 0x8D (scales), usage 0x20 (scale device); data report 3.
_PAGE, _USAGE, _DATA_REPORT = 0x8D, 0x20, 3


class HidScaleConfig(DriverConfig):
    """Which scale, where there are several."""

    serial: str = Field(default="", description="its serial number; empty for the only one")
    sysfs: Path = Field(default=SYSFS, description="where the kernel shows HID devices")
    dev: Path = Field(default=DEV, description="where the nodes of these devices are")


class HidScale(DriverBase):
    """A scale on USB, found by what it is."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="hid-scale",
        summary="USB scale (HID class, usage page 0x8D)",
        transport="hidraw",
        channels=(ChannelInfo("mass", Quantity.MASS, "g", "in the unit the scale shows"),),
        interval_s=2.0,
        silence_s=30.0,
        config=HidScaleConfig,
        signs=("hid:8d:20",),
        decoders=("hid-scale",),
    )

    def decoder(self, config: HidScaleConfig) -> FrameDecoder:
        """Return a decoder of data reports."""
        return FrameDecoder(decode)

    def transport(self, config: HidScaleConfig) -> HidTransport:
        """Return the scale's reports."""
        return HidTransport(
            HidSettings(
                usage_page=_PAGE,
                usage=_USAGE,
                serial=config.serial,
                report_id=_DATA_REPORT,
                sysfs=config.sysfs,
                dev=config.dev,
            )
        )
