"""Bluetooth Weight Scale service, 0x181D."""
