"""Screens that set up: devices, probes, checks, phones, ways of being heard, settings."""
