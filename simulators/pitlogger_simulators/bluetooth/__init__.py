"""A simulated Bluetooth service on a private message bus, for the demo and for tests.

with private_bus() as address:            # export it as DBUS_SYSTEM_BUS_ADDRESS
    async with SimulatedBluez(address) as bluez:
        bluez.world.add(Peripheral("02:00:00:00:00:10", "scale", services=(...,)))
        bluez.world.notify("02:00:00:00:00:10", "2a9d", bytes)
"""
