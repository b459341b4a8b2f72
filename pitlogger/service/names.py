"""What this host is called on its network, and where it is reached."""

from __future__ import annotations

import socket


def own_names(configured: tuple[str, ...]) -> frozenset[str]:
    """Return the names this node goes by."""
    host = socket.gethostname().casefold().partition(".")[0]
    return frozenset({"localhost", host, f"{host}.local", *map(str.casefold, configured)})


def lan_address() -> str | None:
    """Return the address this host has towards other networks, ``None`` where it has none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(("192.0.2.1", 9))  # of the block for documentation; nothing is sent
        except OSError:
            return None
        found: str = asking.getsockname()[0]
        return found
