"""Micro-controllers that print comma separated values."""
