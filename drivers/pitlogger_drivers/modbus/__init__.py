"""Modbus RTU transmitters."""
