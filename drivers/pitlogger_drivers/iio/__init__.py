"""Thermocouple amplifiers of the kernel (industrial I/O)."""
