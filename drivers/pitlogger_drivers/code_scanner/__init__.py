"""Scanners of bar codes and QR codes."""
