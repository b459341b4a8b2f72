"""Bluetooth Battery service, 0x180F."""
