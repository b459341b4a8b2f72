"""Drivers that come with pitlogger: one package a device family."""
