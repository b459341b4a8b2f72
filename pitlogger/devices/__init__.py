"""Devices: the driver contract, the registry, transports and supervision."""
