"""How a device that is not configured yet is reached: a port, an address or name, a USB usage."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pitlogger.devices.contract import Transport
from pitlogger.devices.transports.asking import AskingTransport
from pitlogger.devices.transports.ble.settings import (
    AdvertisementSettings,
    GattSettings,
    GattWrite,
    full_uuid,
)
from pitlogger.devices.transports.hidraw import HidSettings, HidTransport
from pitlogger.devices.transports.serial import SerialSettings, SerialTransport
from pitlogger.errors import UsageError


@dataclass(frozen=True, slots=True)
class DeviceAccess:
    """The way to a device; ``poll`` is what it is asked with, ``start`` what is written once."""

    port: str = ""
    baud: int = 9600
    framing: str = "8N1"
    address: str = ""
    advertised: bool = False
    poll: str = ""
    poll_at: str = ""
    device_name: str = ""
    hid: tuple[int, int] | None = None
    start: tuple[tuple[str, bytes, float], ...] = ()

    @property
    def name(self) -> str:
        """What the device is called where the person gave no name."""
        return self.device_name or self.port.rpartition("/")[2] or ("hid" if self.hid else "device")

    def keys(self) -> dict[str, str]:
        """Return the keys by which a configuration finds the device."""
        found = {"port": self.port, "address": self.address, "name": self.device_name}
        return {key: value for key, value in found.items() if value}

    @property
    def sends_lines(self) -> bool:
        """Whether lines of text are expected, not frames."""
        return bool(self.port)

    def open(self) -> Transport:
        """Return the way, not yet open; everything the device says comes through it."""
        if self.hid is not None:
            return HidTransport(HidSettings(*self.hid))
        if self.advertised:
            # The radio is loaded where one is used: the page that leads here is always there.
            from pitlogger.devices.transports.ble.advertisements import AdvertisementTransport

            return AdvertisementTransport(
                AdvertisementSettings(self.address, self.device_name, every=True)
            )
        if self.port:
            way: Transport = SerialTransport(SerialSettings(self.port, self.baud, self.framing))
            question = self.poll.encode().decode("unicode_escape").encode("latin-1")
        else:
            from pitlogger.devices.transports.ble.gatt import GattTransport

            way = GattTransport(
                GattSettings(
                    self.address,
                    self.device_name,
                    every=True,
                    written=self.poll_at,
                    poll_s=1.0,
                    start=tuple(GattWrite(*one) for one in self.start),
                )
            )
            question = bytes.fromhex(self.poll)
        return AskingTransport(way, question, 1.0) if question else way

    def source(self, sender: str) -> dict[str, Any]:
        """Return the keys of ``[source]`` for what came from a sender."""
        if self.port:
            keys: dict[str, Any] = {"kind": "serial", "baud": self.baud, "format": self.framing}
            if self.poll:
                keys["poll"] = self.poll.encode().decode("unicode_escape")
            return keys
        if self.hid is not None:
            return {"kind": "hid", "usage_page": self.hid[0], "usage": self.hid[1]}
        kind, _, which = sender.partition(":")
        if self.advertised:
            told = {"company": int(which, 16)} if kind == "maker" else {"service": full_uuid(which)}
            return {"kind": "advertisement", **told}
        keys = {"kind": "gatt", "characteristic": full_uuid(sender.partition("/")[0])}
        if self.poll:
            keys |= {"poll": self.poll.lower(), "poll_characteristic": full_uuid(self.poll_at)}
        if self.start:
            keys["start"] = [
                {"characteristic": full_uuid(uuid), "bytes": data.hex(), "wait_s": wait_s}
                for uuid, data, wait_s in self.start
            ]
        return keys


def usage_of(text: str) -> tuple[int, int]:
    """Return usage page and usage of a USB HID device, written in hex as in ``8d:20``.

    Raises:
        UsageError: It is no such text.
    """
    page, _, usage = text.partition(":")
    try:
        return int(page, 16), int(usage, 16)
    except ValueError:
        raise UsageError(f"'{text}': expected usage page and usage in hex, as in 8d:20") from None
