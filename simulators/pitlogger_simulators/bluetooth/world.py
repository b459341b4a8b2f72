"""What the simulated service knows: adapter, devices, links, who scans, who listens.

Every change is told as the D-Bus signal the real service sends, in the same order.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from dbus_fast import Variant

from pitlogger_simulators.bluetooth import tree
from pitlogger_simulators.bluetooth.faults import RadioFaults
from pitlogger_simulators.bluetooth.peripherals import (
    Characteristic,
    GattService,
    Peripheral,
    full_uuid,
    short_uuid,
)

Signal = Callable[[str, str, str, str, list[Any]], None]
Observer = Callable[[str, str, str], None]  # event, address, characteristic or empty


class Medicine(StrEnum):
    """What makes a deaf adapter hear again, weakest first (BlueZ issues 807, 1554)."""

    RESTART_SCAN = "restart-scan"
    POWER_CYCLE = "power-cycle"
    RESTART_SERVICE = "restart-service"


@dataclass(slots=True)
class OpenConnection:
    """An open connection; ``nodes`` is empty until discovery has ended."""

    peripheral: Peripheral
    nodes: dict[str, tree.TreeNode] = field(default_factory=dict)
    notifying: set[str] = field(default_factory=set)


class World:
    """State of the service. ``signal`` sends what changes."""

    def __init__(self, signal: Signal, adapter: str, address: str) -> None:
        self._signal = signal
        self.adapter_path = f"/org/bluez/{adapter}"
        self.address = address
        self.faults = RadioFaults()
        self.peripherals: dict[str, Peripheral] = {}
        self.links: dict[str, OpenConnection] = {}
        self.known: set[str] = set()  # device paths that were shown to clients
        self.cache: dict[str, tuple[GattService, ...]] = {}  # attributes as first discovered
        self.scanners: set[str] = set()
        self.monitors: set[tuple[str, str]] = set()
        self.present = True
        self.powered = True
        self.blocked = False
        self.deaf: Medicine | None = None
        self.max_links: int | None = None
        self.observe: Observer = lambda _event, _address, _characteristic: None

    # What is there

    @property
    def scanning(self) -> bool:
        """Whether somebody scans, actively or passively, with a powered adapter."""
        return self.present and self.powered and bool(self.scanners or self.monitors)

    def path(self, address: str) -> str:
        """Return the object path of a device."""
        return tree.device_path(self.adapter_path, address)

    def objects(self) -> dict[str, tree.Interfaces]:
        """Return everything as ``GetManagedObjects`` shows it."""
        if not self.present:
            return {}
        found = {self.adapter_path: self._adapter_interfaces()}
        for path in sorted(self.known):
            found[path] = self._device_interfaces(path)
            link = self.links.get(path)
            for node in link.nodes.values() if link else ():
                found[node.path] = {node.interface: node.properties}
        return found

    def attribute(self, path: str) -> tuple[OpenConnection, tree.TreeNode] | None:
        """Return the link and attribute at a path, if it is shown now."""
        for link in self.links.values():
            if path in link.nodes:
                return link, link.nodes[path]
        return None

    def node_of(self, address: str, characteristic: Characteristic) -> tree.TreeNode | None:
        """Return where a characteristic is shown, if it is."""
        link = self.links.get(self.path(address))
        nodes: Iterator[tree.TreeNode] = iter(link.nodes.values() if link else ())
        return next((node for node in nodes if node.item is characteristic), None)

    def subscribed(self, address: str, characteristic: str) -> bool:
        """Tell whether a client listens to ``2a6e`` or ``2a6e#2``."""
        node = self.node_of(address, self.peripherals[address].characteristic(characteristic))
        return node is not None and node.path in self.links[self.path(address)].notifying

    # Advertisements

    def add(self, peripheral: Peripheral) -> None:
        """Bring a device into reach."""
        self.peripherals[peripheral.address] = peripheral
        self.hear(peripheral)

    def remove(self, address: str) -> None:
        """Take a device out of reach for good; an open link is lost."""
        self.drop(address)
        del self.peripherals[address]
        self.forget(self.path(address))

    def hear(self, peripheral: Peripheral, changed: tree.Properties | None = None) -> None:
        """Deliver one advertisement, if anybody scans and the adapter hears."""
        path = self.path(peripheral.address)
        hears = self.scanning and self.deaf is None
        if not (hears and peripheral.heard) or peripheral.is_linked:
            return
        if path in self.known:
            self._changed(path, tree.DEVICE, changed or tree.advertised(peripheral))
        else:
            self.known.add(path)
            self._added(path, self._device_interfaces(path))

    def rotate(self, address: str, fresh: str) -> None:
        """Let a device speak under another address from now on, as private ones do."""
        peripheral = self.peripherals.pop(address)
        path = self.path(address)
        self.link_down(path)
        peripheral.address = fresh
        self.peripherals[fresh] = peripheral
        if path in self.known:
            self.known.discard(path)
            self._removed(path, [tree.DEVICE])
        self.hear(peripheral)

    def told_bond(self, path: str) -> None:
        """Tell that a device is bonded."""
        bonded = {"Paired": Variant("b", True), "Bonded": Variant("b", True)}
        self._changed(path, tree.DEVICE, bonded)

    def forget(self, path: str, unbond: bool = False) -> None:
        """Remove a device object and its cached attributes; ``unbond`` its bond too."""
        self.cache.pop(path, None)
        peripheral = self._peripheral_at(path)
        if unbond and peripheral is not None:
            peripheral.pairing.bonded = False
        if path in self.known:
            self.known.discard(path)
            self._removed(path, [tree.DEVICE])

    def scan_changed(self) -> None:
        """Tell ``Discovering``; when nobody scans any more, fleeting devices are forgotten."""
        if not self.present:
            return
        scanning = bool(self.scanners) and self.powered
        self._changed(self.adapter_path, tree.ADAPTER, {"Discovering": Variant("b", scanning)})
        if self.scanning:
            for peripheral in self.peripherals.values():
                self.hear(peripheral)
            return
        if self.deaf is Medicine.RESTART_SCAN:
            self.deaf = None
        for path in sorted(self.known - set(self.links)):
            fleeting = self._peripheral_at(path)
            if fleeting is not None and fleeting.vanishes:
                self.forget(path)

    # Links

    def link_up(self, path: str) -> None:
        """Connect; attributes are not shown yet."""
        peripheral = self._peripheral_at(path)
        assert peripheral is not None
        self.links[path] = OpenConnection(peripheral)
        peripheral.is_linked = True
        self._changed(path, tree.DEVICE, {"Connected": Variant("b", True)})
        self.observe("connected", peripheral.address, "")

    def subscribe(self, link: OpenConnection, node: tree.TreeNode) -> None:
        """Send a characteristic's values from now on."""
        link.notifying.add(node.path)
        self.observe("subscribed", link.peripheral.address, self.name_of(link, node) or "")

    def name_of(self, link: OpenConnection, node: tree.TreeNode) -> str | None:
        """Return the name of a characteristic, such as ``2a6e#2``; ``None`` for others."""
        if not isinstance(node.item, Characteristic):
            return None
        items = [n.item for n in link.nodes.values() if isinstance(n.item, Characteristic)]
        same = [item for item in items if item.uuid == node.item.uuid]
        ordinal = next(i for i, item in enumerate(same, 1) if item is node.item)
        return f"{short_uuid(full_uuid(node.item.uuid))}#{ordinal}"

    def resolve(self, path: str, incomplete: bool = False) -> None:
        """Show the attributes and tell ``ServicesResolved``.

        Like the real service this one shows a device's attributes as it first found them,
        until the device is removed (BlueZ issue 191).
        """
        link = self.links[path]
        services = self.cache.setdefault(path, link.peripheral.services)
        shown = services[:1] if incomplete else services
        for node in tree.attributes(path, shown):
            link.nodes[node.path] = node
            self._added(node.path, {node.interface: node.properties})
        self._changed(path, tree.DEVICE, {"ServicesResolved": Variant("b", True)})

    def drop(self, address: str) -> None:
        """Lose the link to a device."""
        self.link_down(self.path(address))

    def link_down(self, path: str) -> None:
        """Disconnect; attributes go."""
        link = self.links.pop(path, None)
        if link is None:
            return
        link.peripheral.is_linked = False
        if link.nodes:
            self._changed(path, tree.DEVICE, {"ServicesResolved": Variant("b", False)})
        self._changed(path, tree.DEVICE, {"Connected": Variant("b", False)})
        for node in reversed(link.nodes.values()):
            self._removed(node.path, [node.interface])
        self.observe("disconnected", link.peripheral.address, "")

    def notify(self, address: str, characteristic: str, value: bytes) -> bool:
        """Set a value and send it to whoever listens; return whether anybody does."""
        item = self.peripherals[address].characteristic(characteristic)
        item.value = value
        node = self.node_of(address, item)
        if node is None or node.path not in self.links[self.path(address)].notifying:
            return False
        self.show_value(node, value)
        return True

    def show_value(self, node: tree.TreeNode, value: bytes) -> None:
        """Tell an attribute's value as a property change."""
        self._changed(node.path, node.interface, {"Value": Variant("ay", value)})

    # The adapter

    def set_powered(self, powered: bool, blocked: bool = False) -> None:
        """Switch the adapter; off loses all links without asking. ``blocked`` is by rfkill."""
        if powered == self.powered:
            return
        self.powered = powered
        self.blocked = blocked and not powered
        if not powered:
            for path in list(self.links):
                self.link_down(path)
            self.scanners.clear()
            self._changed(self.adapter_path, tree.ADAPTER, {"Discovering": Variant("b", False)})
            if self.deaf is not Medicine.RESTART_SERVICE:
                self.deaf = None
        state = {"Powered": Variant("b", powered), "PowerState": Variant("s", self._power_state)}
        self._changed(self.adapter_path, tree.ADAPTER, state)

    @property
    def _power_state(self) -> str:
        return "on" if self.powered else "off-blocked" if self.blocked else "off"

    def pull_adapter(self) -> None:
        """Unplug the adapter: objects go, and no property change tells of it."""
        for node in [n for link in self.links.values() for n in link.nodes.values()]:
            self._removed(node.path, [node.interface])
        for path in self.known:
            self._removed(path, [tree.DEVICE])
        self._removed(self.adapter_path, [tree.ADAPTER, tree.MONITOR_MANAGER])
        self.forget_everything()
        self.present = False

    def plug_adapter(self) -> None:
        """Plug the adapter in again, powered."""
        self.present = self.powered = True
        self._added(self.adapter_path, self._adapter_interfaces())

    def forget_everything(self) -> None:
        """Lose what a new start of the service does not know."""
        for link in self.links.values():
            link.peripheral.is_linked = False
        self.links.clear()
        self.known.clear()
        self.cache.clear()
        self.scanners.clear()
        self.monitors.clear()

    # Signals

    def _changed(self, path: str, interface: str, properties: tree.Properties) -> None:
        body = [interface, properties, []]
        self._signal(path, tree.PROPERTIES, "PropertiesChanged", "sa{sv}as", body)

    def _added(self, path: str, interfaces: tree.Interfaces) -> None:
        body = [path, interfaces]
        self._signal(tree.ROOT, tree.OBJECT_MANAGER, "InterfacesAdded", "oa{sa{sv}}", body)

    def _removed(self, path: str, interfaces: list[str]) -> None:
        body = [path, interfaces]
        self._signal(tree.ROOT, tree.OBJECT_MANAGER, "InterfacesRemoved", "oas", body)

    # Inside

    def _peripheral_at(self, path: str) -> Peripheral | None:
        return next((p for p in self.peripherals.values() if self.path(p.address) == path), None)

    def _adapter_interfaces(self) -> tree.Interfaces:
        scanning = bool(self.scanners) and self.powered
        return {
            tree.ADAPTER: tree.adapter_properties(self.address, self.powered, scanning)
            | {"PowerState": Variant("s", self._power_state)},
            tree.MONITOR_MANAGER: {"SupportedMonitorTypes": Variant("as", ["or_patterns"])},
        }

    def _device_interfaces(self, path: str) -> tree.Interfaces:
        peripheral = self._peripheral_at(path)
        assert peripheral is not None, f"no peripheral at {path}"
        link = self.links.get(path)
        resolved = link is not None and bool(link.nodes)
        properties = tree.device_properties(
            peripheral, self.adapter_path, link is not None, resolved
        )
        shown = {tree.DEVICE: properties}
        if peripheral.claimed_battery is not None and resolved:
            shown[tree.BATTERY] = {"Percentage": Variant("y", peripheral.claimed_battery)}
        return shown
