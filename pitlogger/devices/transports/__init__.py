"""Ways to a device: each yields chunks of octets and raises ``TransportError``."""
