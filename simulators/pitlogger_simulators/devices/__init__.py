"""Emulated devices: the plant's truth as each driver's own bytes over its own transport."""
