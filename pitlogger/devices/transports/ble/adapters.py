"""Which adapters there are, and which of them is to carry the next device."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dbus_fast import BusType, Message, MessageType, unpack_variants
from dbus_fast.aio import MessageBus

from pitlogger.devices.transports.ble.troubles import BLOCKED, NO_SERVICE, OFF, dbus_words, trouble
from pitlogger.errors import TransportError
from pitlogger.files import text_of

_PATIENCE_S = 5.0
_ADAPTER = "org.bluez.Adapter1"
RFKILL = Path("/sys/class/rfkill")


@dataclass(frozen=True, slots=True)
class Adapter:
    """One adapter as the Bluetooth service shows it."""

    name: str
    powered: bool
    blocked: bool
    has_low_energy: bool
    scanning: bool

    @property
    def usable(self) -> bool:
        """Whether a link can be made with it."""
        return self.powered and self.has_low_energy


async def managed_objects() -> dict[str, dict[str, Any]] | None:
    """Return the Bluetooth service's objects; ``None`` where it is not running.

    Raises:
        OSError: There is no message bus.
        TransportError: The service refuses, as for a user who may not use it.
    """
    bus = MessageBus(bus_type=BusType.SYSTEM)
    try:
        async with asyncio.timeout(_PATIENCE_S):
            await bus.connect()
            reply = await bus.call(
                Message(
                    destination="org.bluez",
                    path="/",
                    interface="org.freedesktop.DBus.ObjectManager",
                    member="GetManagedObjects",
                )
            )
    except TimeoutError:
        return None
    finally:
        bus.disconnect()
    if reply is None:
        return None
    if reply.message_type is MessageType.ERROR:
        name = reply.error_name or ""
        if name.endswith(("ServiceUnknown", "NameHasNoOwner", "NoReply")):
            return None
        reason, remedy = dbus_words(name, " ".join(str(part) for part in reply.body))
        raise TransportError(reason, remedy=remedy)
    return {path: unpack_variants(interfaces) for path, interfaces in reply.body[0].items()}


async def adapters() -> list[Adapter]:
    """Return the adapters of this host by name.

    Raises:
        TransportError: No message bus, or no Bluetooth service.
    """
    try:
        objects = await managed_objects()
    except OSError as error:
        raise trouble("looking for a Bluetooth adapter", error) from error
    if objects is None:
        raise TransportError(NO_SERVICE[0], remedy=NO_SERVICE[1])
    return [
        _adapter(path.rpartition("/")[2], interfaces[_ADAPTER])
        for path, interfaces in sorted(objects.items())
        if _ADAPTER in interfaces
    ]


def unusable(found: list[Adapter]) -> TransportError:
    """Return why no adapter of those found can be used."""
    if not found:
        return TransportError(
            "there is no Bluetooth adapter",
            remedy="Plug one in, or switch the built-in one on: rfkill unblock bluetooth",
        )
    if not any(one.has_low_energy for one in found):
        return TransportError(
            "the Bluetooth adapter cannot do Bluetooth Low Energy",
            remedy="Use an adapter of Bluetooth 4.0 or later",
        )
    reason, remedy = BLOCKED if any(one.blocked for one in found) else OFF
    return TransportError(reason, remedy=remedy)


def is_blocked(rfkill: Path = RFKILL) -> bool:
    """Tell whether a Bluetooth radio is blocked (Linux kernel documentation, rfkill)."""
    return any(
        text_of(folder / "type") == "bluetooth"
        and "1" in (text_of(folder / "soft"), text_of(folder / "hard"))
        for folder in rfkill.glob("rfkill*")
    )


def _adapter(name: str, shown: dict[str, Any]) -> Adapter:
    return Adapter(
        name,
        bool(shown.get("Powered")),
        shown.get("PowerState") == "off-blocked" or (not shown.get("Powered") and is_blocked()),
        "central" in shown.get("Roles", ["central"]),
        bool(shown.get("Discovering")),
    )
