"""Objects as ``org.bluez`` shows them: paths, interfaces, properties. Pure functions.

Attribute paths are ``serviceNNNN/charNNNN/descNNNN`` with four hex digits: clients take
handles from them and cut them by length.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from dbus_fast import Variant

from pitlogger_simulators.bluetooth.peripherals import (
    Characteristic,
    Descriptor,
    GattService,
    Peripheral,
    full_uuid,
)

ROOT = "/"
ADAPTER = "org.bluez.Adapter1"
DEVICE = "org.bluez.Device1"
SERVICE = "org.bluez.GattService1"
CHARACTERISTIC = "org.bluez.GattCharacteristic1"
DESCRIPTOR = "org.bluez.GattDescriptor1"
BATTERY = "org.bluez.Battery1"
AGENT_MANAGER = "org.bluez.AgentManager1"
AGENT = "org.bluez.Agent1"
MONITOR_MANAGER = "org.bluez.AdvertisementMonitorManager1"
OBJECT_MANAGER = "org.freedesktop.DBus.ObjectManager"
PROPERTIES = "org.freedesktop.DBus.Properties"

Properties = dict[str, Variant]
Interfaces = dict[str, Properties]


@dataclass(frozen=True, slots=True)
class TreeNode:
    """One attribute's place: its path, interface, properties and the thing itself."""

    path: str
    interface: str
    properties: Properties
    item: GattService | Characteristic | Descriptor


def device_path(adapter_path: str, address: str) -> str:
    """Return the object path of a device."""
    return f"{adapter_path}/dev_{address.upper().replace(':', '_')}"


def adapter_properties(address: str, powered: bool, discovering: bool) -> Properties:
    """Return the adapter's properties; without the role ``central`` no client scans."""
    return {
        "Address": Variant("s", address),
        "Alias": Variant("s", "simulated"),
        "Name": Variant("s", "simulated"),
        "Powered": Variant("b", powered),
        "Discovering": Variant("b", discovering),
        "Roles": Variant("as", ["central", "peripheral"]),
        "UUIDs": Variant("as", []),
    }


def advertised(peripheral: Peripheral) -> Properties:
    """Return the properties that come from the peripheral's advertisement."""
    service_data = {full_uuid(k): Variant("ay", v) for k, v in peripheral.service_data.items()}
    maker_data = {k: Variant("ay", v) for k, v in peripheral.manufacturer_data.items()}
    found: Properties = {"RSSI": Variant("n", peripheral.rssi)}
    if service_data:
        found["ServiceData"] = Variant("a{sv}", service_data)
    if maker_data:
        found["ManufacturerData"] = Variant("a{qv}", maker_data)
    return found


def device_properties(
    peripheral: Peripheral, adapter_path: str, connected: bool, resolved: bool
) -> Properties:
    """Return the device's properties as first shown."""
    alias = peripheral.name or peripheral.address.replace(":", "-")
    is_random = peripheral.vanishes or peripheral.is_private
    named: Properties = {"Name": Variant("s", peripheral.name)} if peripheral.name else {}
    return named | {
        "Address": Variant("s", peripheral.address.upper()),
        "AddressType": Variant("s", "random" if is_random else "public"),
        "Alias": Variant("s", alias),
        "Adapter": Variant("o", adapter_path),
        "Paired": Variant("b", peripheral.pairing.bonded),
        "Bonded": Variant("b", peripheral.pairing.bonded),
        "Trusted": Variant("b", peripheral.pairing.bonded),
        "Connected": Variant("b", connected),
        "ServicesResolved": Variant("b", resolved),
        "UUIDs": Variant("as", [full_uuid(s.uuid) for s in peripheral.services]),
        **advertised(peripheral),
    }


def attributes(path: str, services: tuple[GattService, ...]) -> list[TreeNode]:
    """Return the attribute tree of a device, with handles dealt out in order."""
    nodes: list[TreeNode] = []
    handle = 1
    for service in services:
        service_path = f"{path}/service{handle:04x}"
        nodes.append(TreeNode(service_path, SERVICE, _service(service, path), service))
        handle += 1
        for item in service.characteristics:
            item_path = f"{service_path}/char{handle:04x}"
            nodes.append(
                TreeNode(item_path, CHARACTERISTIC, _characteristic(item, service_path), item)
            )
            handle += 2  # declaration and value
            for descriptor in item.descriptors:
                properties = _descriptor(descriptor, item_path)
                nodes.append(
                    TreeNode(f"{item_path}/desc{handle:04x}", DESCRIPTOR, properties, descriptor)
                )
                handle += 1
    return nodes


def _service(service: GattService, path: str) -> Properties:
    return {
        "UUID": Variant("s", full_uuid(service.uuid)),
        "Device": Variant("o", path),
        "Primary": Variant("b", True),
        "Includes": Variant("ao", []),
    }


def _characteristic(item: Characteristic, service_path: str) -> Properties:
    found: dict[str, Any] = {
        "UUID": Variant("s", full_uuid(item.uuid)),
        "Service": Variant("o", service_path),
        "Value": Variant("ay", b""),
        "Flags": Variant("as", list(item.flags)),
        "MTU": Variant("q", 247),
    }
    if {"notify", "indicate"} & set(item.flags):
        found["Notifying"] = Variant("b", False)
    return found


def _descriptor(descriptor: Descriptor, path: str) -> Properties:
    return {
        "UUID": Variant("s", full_uuid(descriptor.uuid)),
        "Characteristic": Variant("o", path),
        "Value": Variant("ay", b""),
        "Flags": Variant("as", ["read"]),
    }
