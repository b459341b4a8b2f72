"""Bluetooth Health Thermometer service, 0x1809."""
