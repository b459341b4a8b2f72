"""A simulated Bluetooth service on a private message bus, for the demo and for tests.

with private_bus() as address:            # export it as DBUS_SYSTEM_BUS_ADDRESS
    async with SimulatedBluez(address) as bluez:
        bluez.world.add(Peripheral("02:00:00:00:00:10", "scale", services=(...,)))
        bluez.world.notify("02:00:00:00:00:10", "2a9d", bytes)
"""

from pitlogger_simulators.bluetooth.bus import available, private_bus
from pitlogger_simulators.bluetooth.faults import (
    RadioFault,
    RadioFaultKind,
    RadioFaultPoint,
    att_error,
    in_progress,
)
from pitlogger_simulators.bluetooth.peripherals import (
    Characteristic,
    Descriptor,
    GattService,
    Pairing,
    PairingWay,
    Peripheral,
    es_measurement,
    presentation_format,
    user_description,
)
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from pitlogger_simulators.bluetooth.world import Medicine, World

__all__ = [
    "Characteristic",
    "Descriptor",
    "GattService",
    "Medicine",
    "Pairing",
    "PairingWay",
    "Peripheral",
    "RadioFault",
    "RadioFaultKind",
    "RadioFaultPoint",
    "SimulatedBluez",
    "World",
    "att_error",
    "available",
    "es_measurement",
    "in_progress",
    "presentation_format",
    "private_bus",
    "user_description",
]
