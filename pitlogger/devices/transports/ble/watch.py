"""Follows the Bluetooth service and its adapters, and does what bleak has no call for.

bleak tells nothing when an adapter is unplugged or the service is killed: its links go on
looking alive. The bus does tell: a name changes its owner, an adapter's object comes or goes.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from enum import StrEnum
from typing import Any

from dbus_fast import BusType, Message, MessageType, Variant
from dbus_fast.aio import MessageBus

from pitlogger.devices.transports.ble.adapters import is_blocked

_SERVICE = "org.bluez"
_ADAPTER = "org.bluez.Adapter1"
_PROPERTIES = "org.freedesktop.DBus.Properties"
_RULES = (
    f"type='signal',interface='org.freedesktop.DBus',member='NameOwnerChanged',arg0='{_SERVICE}'",
    f"type='signal',sender='{_SERVICE}',interface='org.freedesktop.DBus.ObjectManager'",
    f"type='signal',sender='{_SERVICE}',interface='{_PROPERTIES}',arg0='{_ADAPTER}'",
)
_PATIENCE_S = 5.0


class AdapterChange(StrEnum):
    """What happened to an adapter or the service."""

    CAME = "came"
    PULLED = "pulled"
    OFF = "off"
    BLOCKED = "blocked"
    SERVICE_GONE = "service-gone"


class BluezWatch:
    """One bus connection that listens; ``on_change`` hears of one adapter and the service."""

    def __init__(self, adapter: str, on_change: Callable[[AdapterChange], None]) -> None:
        self._adapter_path = f"/org/bluez/{adapter}"
        self._on_change = on_change
        self._bus: MessageBus | None = None

    async def open(self) -> None:
        """Connect and listen.

        Raises:
            OSError: There is no system message bus.
        """
        if self._bus is not None and self._bus.connected:
            return
        bus = MessageBus(bus_type=BusType.SYSTEM)
        try:
            await bus.connect()
            bus.add_message_handler(self._on_message)
            for rule in _RULES:
                await bus.call(_bus_message("AddMatch", "s", [rule]))
        except BaseException:
            bus.disconnect()
            raise
        self._bus = bus

    async def close(self) -> None:
        """Disconnect."""
        bus, self._bus = self._bus, None
        if bus is not None and bus.connected:
            bus.disconnect()
            await bus.wait_for_disconnect()  # type: ignore[no-untyped-call]

    async def power_cycle(self) -> bool:
        """Switch the adapter off and on; return whether it took both."""
        off = await self._set_powered(self._adapter_path, False)
        return await self._set_powered(self._adapter_path, True) and off

    async def is_linked(self, device_path: str) -> bool:
        """Return whether the service has a link to a device."""
        body = ["org.bluez.Device1", "Connected"]
        reply = await self._call(device_path, _PROPERTIES, "Get", "ss", body)
        return reply is not None and bool(reply.body) and bool(reply.body[0].value)

    async def remove_device(self, device_path: str) -> None:
        """Let the service forget a device and what it cached of its attributes."""
        adapter_path = device_path.rpartition("/")[0]
        await self._call(adapter_path, _ADAPTER, "RemoveDevice", "o", [device_path])

    async def battery_percent(self, device_path: str) -> int | None:
        """Return the battery level where the service claims the Battery Service for itself."""
        body = ["org.bluez.Battery1", "Percentage"]
        reply = await self._call(device_path, _PROPERTIES, "Get", "ss", body)
        if reply is None or not reply.body or not isinstance(reply.body[0], Variant):
            return None
        return int(reply.body[0].value)

    async def _set_powered(self, adapter_path: str, powered: bool) -> bool:
        body = [_ADAPTER, "Powered", Variant("b", powered)]
        return await self._call(adapter_path, _PROPERTIES, "Set", "ssv", body) is not None

    async def _call(
        self, path: str, interface: str, member: str, signature: str, body: list[Any]
    ) -> Message | None:
        """Call the service; ``None`` for any refusal, since all these calls are attempts."""
        if self._bus is None or not self._bus.connected:
            return None
        message = Message(
            destination=_SERVICE,
            path=path,
            interface=interface,
            member=member,
            signature=signature,
            body=body,
        )
        try:
            async with asyncio.timeout(_PATIENCE_S):
                reply = await self._bus.call(message)
        except (TimeoutError, OSError, EOFError):
            return None
        refused = reply is None or reply.message_type is MessageType.ERROR
        return None if refused else reply

    def _on_message(self, message: Message) -> bool:
        if message.message_type is MessageType.SIGNAL:
            change = self._meaning(message)
            if change is not None:
                self._on_change(change)
        return False

    def _meaning(self, message: Message) -> AdapterChange | None:
        """Return what a signal says about the adapter or the service, if anything."""
        match message.member, message.body:
            case "NameOwnerChanged", [name, _, new] if name == _SERVICE:
                return AdapterChange.CAME if new else AdapterChange.SERVICE_GONE
            case "InterfacesAdded", [path, interfaces] if (
                path == self._adapter_path and _ADAPTER in interfaces
            ):
                return AdapterChange.CAME
            case "InterfacesRemoved", [path, interfaces] if (
                path == self._adapter_path and _ADAPTER in interfaces
            ):
                return AdapterChange.PULLED
            case "PropertiesChanged", [interface, changed, _] if (
                message.path == self._adapter_path
                and interface == _ADAPTER
                and "Powered" in changed
            ):
                return _power(changed)
        return None


def _bus_message(member: str, signature: str, body: list[Any]) -> Message:
    return Message(
        destination="org.freedesktop.DBus",
        path="/org/freedesktop/DBus",
        interface="org.freedesktop.DBus",
        member=member,
        signature=signature,
        body=body,
    )


def _power(changed: dict[str, Variant]) -> AdapterChange:
    if changed["Powered"].value:
        return AdapterChange.CAME
    state = changed.get("PowerState")
    told_blocked = state is not None and state.value == "off-blocked"
    return AdapterChange.BLOCKED if told_blocked or is_blocked() else AdapterChange.OFF
