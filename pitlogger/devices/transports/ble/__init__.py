"""Bluetooth Low Energy through bleak: one scanner, one connect at a time, many devices."""
