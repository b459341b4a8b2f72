"""Answers to the method calls clients make on ``org.bluez``."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any, NamedTuple

from dbus_fast import Message, Variant

from pitlogger_simulators.bluetooth import agents, tree
from pitlogger_simulators.bluetooth.agents import Agents
from pitlogger_simulators.bluetooth.faults import RadioFault, RadioFaultKind, RadioFaultPoint
from pitlogger_simulators.bluetooth.peripherals import Characteristic, Descriptor
from pitlogger_simulators.bluetooth.world import OpenConnection, World


class Reply(NamedTuple):
    """Body of a reply, and what happens after it was sent."""

    signature: str = ""
    body: tuple[Any, ...] = ()
    afterwards: Callable[[], Awaitable[None]] | None = None


class CallRefusedError(Exception):
    """A call is answered with a D-Bus error."""

    def __init__(self, error: str, text: str) -> None:
        super().__init__(error, text)
        self.error = error
        self.text = text


_DONE = Reply()
_UNKNOWN_OBJECT = "org.freedesktop.DBus.Error.UnknownObject"
_NOT_READY = ("org.bluez.Error.NotReady", "Resource Not Ready")
_IN_PROGRESS = ("org.bluez.Error.InProgress", "Operation already in progress")


class Calls:
    """The table of methods, answered from a ``World``.

    ``connecting`` and ``most_connecting`` count connects under way, to show whether a
    client makes them one at a time, as controllers need.
    """

    def __init__(self, world: World, delay_s: Callable[[], float], agents: Agents) -> None:
        self._world = world
        self._delay_s = delay_s
        self._agents = agents
        self._hanging: dict[str | None, asyncio.Event] = {}
        self.connecting = 0
        self.most_connecting = 0
        self.seen: list[tuple[RadioFaultPoint, str | None]] = []
        self.table: dict[tuple[str, str], Callable[[Message], Awaitable[Reply]]] = {
            (tree.PROPERTIES, "Get"): self._get,
            (tree.PROPERTIES, "Set"): self._set,
            (tree.ADAPTER, "SetDiscoveryFilter"): self._set_filter,
            (tree.ADAPTER, "StartDiscovery"): self._start_scan,
            (tree.ADAPTER, "StopDiscovery"): self._stop_scan,
            (tree.ADAPTER, "RemoveDevice"): self._remove_device,
            (tree.MONITOR_MANAGER, "RegisterMonitor"): self._register_monitor,
            (tree.MONITOR_MANAGER, "UnregisterMonitor"): self._unregister_monitor,
            (tree.DEVICE, "Connect"): self._connect,
            (tree.DEVICE, "Disconnect"): self._disconnect,
            (tree.DEVICE, "Pair"): self._pair,
            (tree.DEVICE, "CancelPairing"): self._cancel_pairing,
            (tree.CHARACTERISTIC, "ReadValue"): self._read,
            (tree.CHARACTERISTIC, "WriteValue"): self._write,
            (tree.CHARACTERISTIC, "StartNotify"): self._start_notify,
            (tree.CHARACTERISTIC, "StopNotify"): self._stop_notify,
            (tree.DESCRIPTOR, "ReadValue"): self._read_descriptor,
        }

    # Objects and properties

    async def _get(self, message: Message) -> Reply:
        interface, name = message.body
        interfaces = self._world.objects().get(message.path or "")
        if interfaces is None:
            raise CallRefusedError(_UNKNOWN_OBJECT, f"no object {message.path}")
        try:
            return Reply("v", (interfaces[interface][name],))
        except KeyError:
            raise CallRefusedError(
                "org.freedesktop.DBus.Error.InvalidArgs", f"no property {name}"
            ) from None

    async def _set(self, message: Message) -> Reply:
        interface, name, value = message.body
        assert isinstance(value, Variant)
        if interface == tree.DEVICE:
            self._device_at(message)
            return _DONE
        self._adapter_at(message)
        if (interface, name) == (tree.ADAPTER, "Powered"):
            self._world.set_powered(bool(value.value))
        return _DONE

    # Scanning

    async def _set_filter(self, message: Message) -> Reply:
        self._adapter_at(message)
        return _DONE

    async def _start_scan(self, message: Message) -> Reply:
        await self._strike(RadioFaultPoint.SCAN_START, None)
        self._adapter_at(message)
        sender = message.sender or ""
        if not self._world.powered:
            raise CallRefusedError(*_NOT_READY)
        if sender in self._world.scanners:
            raise CallRefusedError(*_IN_PROGRESS)
        self._world.scanners.add(sender)
        return Reply(afterwards=self._tell_scan)

    async def _stop_scan(self, message: Message) -> Reply:
        self._adapter_at(message)
        if not self._world.powered:
            raise CallRefusedError(*_NOT_READY)
        if (message.sender or "") not in self._world.scanners:
            raise CallRefusedError("org.bluez.Error.Failed", "No discovery started")
        # The session is gone even where the stop is refused (bleak issue 2021).
        self._world.scanners.discard(message.sender or "")
        await self._strike(RadioFaultPoint.SCAN_STOP, None)
        return Reply(afterwards=self._tell_scan)

    async def _register_monitor(self, message: Message) -> Reply:
        self._adapter_at(message)
        self._world.monitors.add((message.sender or "", message.body[0]))
        return Reply(afterwards=self._tell_scan)

    async def _unregister_monitor(self, message: Message) -> Reply:
        self._adapter_at(message)
        self._world.monitors.discard((message.sender or "", message.body[0]))
        return Reply(afterwards=self._tell_scan)

    async def _tell_scan(self) -> None:
        self._world.scan_changed()

    async def _remove_device(self, message: Message) -> Reply:
        path = message.body[0]
        if path not in self._world.known:
            raise CallRefusedError("org.bluez.Error.DoesNotExist", "Does Not Exist")
        self._world.link_down(path)
        self._world.forget(path, unbond=True)
        return _DONE

    # Links

    async def _connect(self, message: Message) -> Reply:
        path, address = self._device_at(message)
        if path in self._world.links:
            return _DONE
        self.connecting += 1
        self.most_connecting = max(self.most_connecting, self.connecting)
        try:
            await asyncio.sleep(self._delay_s())
            await self._strike_connect(path, address)
        finally:
            self.connecting -= 1
        links = len(self._world.links)
        if self._world.max_links is not None and links >= self._world.max_links:
            raise CallRefusedError(
                "org.bluez.Error.Failed", "le-connection-concurrent-connection-limit"
            )
        peripheral = self._world.peripherals[address]
        if not peripheral.heard or peripheral.is_linked:
            raise CallRefusedError("org.bluez.Error.Failed", "le-connection-create-timeout")
        if peripheral.pairing.bonded and peripheral.pairing.forgot:
            # Encryption with the kept key fails: HCI 0x06, PIN or Key Missing.
            raise CallRefusedError(*agents.FAILED)
        self._world.link_up(path)
        return Reply(afterwards=lambda: self._discover(path, address))

    async def _strike_connect(self, path: str, address: str) -> None:
        """Strike at connecting. A drop here is what BlueZ calls an abort by the local side:
        the link comes up, the call fails, the link goes down (BlueZ issue 1489)."""
        fault = await self._strike(RadioFaultPoint.CONNECT, address)
        if fault is None:
            return
        self._world.link_up(path)
        asyncio.get_running_loop().call_later(self._delay_s(), self._world.link_down, path)
        raise CallRefusedError("org.bluez.Error.Failed", "le-connection-abort-by-local")

    async def _pair(self, message: Message) -> Reply:
        path, address = self._device_at(message)
        peripheral = self._world.peripherals[address]
        if peripheral.pairing.bonded:
            raise CallRefusedError("org.bluez.Error.AlreadyExists", "Already Exists")
        await self._strike(RadioFaultPoint.PAIR, address)
        refused = await self._agents.pair(peripheral.pairing, path)
        if refused is not None:
            raise CallRefusedError(*refused)
        self._world.told_bond(path)
        return _DONE

    async def _cancel_pairing(self, message: Message) -> Reply:
        self._device_at(message)
        return _DONE

    async def _discover(self, path: str, address: str) -> None:
        await asyncio.sleep(self._delay_s() + self._world.peripherals[address].discovery_s)
        fault = await self._strike(RadioFaultPoint.DISCOVER, address)
        if path not in self._world.links:
            return
        if fault is not None and fault.kind is RadioFaultKind.DROP:
            self._world.link_down(path)
            return
        self._world.resolve(path, incomplete=fault is not None)

    async def _disconnect(self, message: Message) -> Reply:
        path, address = self._device_at(message)
        await self._strike(RadioFaultPoint.DISCONNECT, address)
        if address in self._hanging:  # disconnecting cancels a connect under way
            self._hanging.pop(address).set()

        async def down() -> None:
            self._world.link_down(path)

        return Reply(afterwards=down)

    # Attributes

    async def _read(self, message: Message) -> Reply:
        link, node = await self._attribute_at(message, RadioFaultPoint.READ)
        assert isinstance(node.item, Characteristic)
        if "read" not in node.item.flags:
            raise CallRefusedError("org.bluez.Error.NotPermitted", "Read not permitted")
        # A read of a subscribed characteristic also arrives as a notification.
        if node.path in link.notifying:
            self._world.show_value(node, node.item.value)
        return Reply("ay", (node.item.value,))

    async def _write(self, message: Message) -> Reply:
        _link, node = await self._attribute_at(message, RadioFaultPoint.WRITE)
        assert isinstance(node.item, Characteristic)
        node.item.write = bytes(message.body[0])
        node.item.writes.append(node.item.write)
        self._world.observe("written", _link.peripheral.address, node.item.write.hex())
        return _DONE

    async def _start_notify(self, message: Message) -> Reply:
        link, node = await self._attribute_at(message, RadioFaultPoint.SUBSCRIBE)
        assert isinstance(node.item, Characteristic)
        if not {"notify", "indicate"} & set(node.item.flags):
            raise CallRefusedError("org.bluez.Error.NotSupported", "Operation is not supported")
        self._world.subscribe(link, node)
        return _DONE

    async def _stop_notify(self, message: Message) -> Reply:
        link, node = await self._attribute_at(message, None)
        link.notifying.discard(node.path)
        return _DONE

    async def _read_descriptor(self, message: Message) -> Reply:
        _link, node = await self._attribute_at(message, RadioFaultPoint.READ_DESCRIPTOR)
        assert isinstance(node.item, Descriptor)
        return Reply("ay", (node.item.value,))

    # Inside

    async def _strike(
        self, step: RadioFaultPoint, address: str | None, characteristic: str | None = None
    ) -> RadioFault | None:
        """Let the next trouble of a step strike; return one the caller must act on."""
        self.seen.append((step, address))
        fault = self._world.faults.take(step, address, characteristic)
        if fault is None:
            return None
        if fault.kind is RadioFaultKind.HANG:
            await self._hanging.setdefault(address, asyncio.Event()).wait()
            raise CallRefusedError("org.bluez.Error.Failed", "Operation canceled")
        if fault.kind is RadioFaultKind.ERROR:
            raise CallRefusedError(fault.error, fault.text)
        return fault

    def _adapter_at(self, message: Message) -> None:
        if message.path != self._world.adapter_path or not self._world.present:
            raise CallRefusedError(_UNKNOWN_OBJECT, f"no object {message.path}")

    def _device_at(self, message: Message) -> tuple[str, str]:
        path = message.path or ""
        for address in self._world.peripherals:
            if self._world.path(address) == path and path in self._world.known:
                return path, address
        raise CallRefusedError(_UNKNOWN_OBJECT, f"no object {path}")

    async def _attribute_at(
        self, message: Message, step: RadioFaultPoint | None
    ) -> tuple[OpenConnection, tree.TreeNode]:
        path = message.path or ""
        found = self._world.attribute(path)
        if found is None:
            raise CallRefusedError(_UNKNOWN_OBJECT, f"no object {path}")
        link, node = found
        if step is not None and _needs_bond(node) and not link.peripheral.pairing.bonded:
            raise CallRefusedError("org.bluez.Error.NotPermitted", "Not paired")
        fault = (
            await self._strike(step, link.peripheral.address, self._world.name_of(link, node))
            if step
            else None
        )
        if fault is not None:
            self._world.drop(link.peripheral.address)
            raise CallRefusedError("org.bluez.Error.Failed", "Not connected")
        return found


def _needs_bond(node: tree.TreeNode) -> bool:
    return isinstance(node.item, Characteristic) and node.item.needs_bond
