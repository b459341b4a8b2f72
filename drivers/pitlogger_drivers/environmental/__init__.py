"""Bluetooth Environmental Sensing service, 0x181A."""
