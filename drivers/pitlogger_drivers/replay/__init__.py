"""Recordings and captures played back as if a device sent them."""
