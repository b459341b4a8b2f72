"""Ways to a device: each yields chunks of bytes and raises ``TransportError``."""
