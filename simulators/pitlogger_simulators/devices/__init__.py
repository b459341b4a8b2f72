"""Emulated devices: the plant's truth as each driver's own octets over its own transport."""
