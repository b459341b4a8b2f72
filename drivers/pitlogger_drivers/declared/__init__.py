"""Devices described in a TOML file, without code."""
