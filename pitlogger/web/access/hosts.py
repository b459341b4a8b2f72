"""Under which names the page may be opened: an allow-list of Host on every request.

A page of somebody else whose name is rebound to our address sends its own name as Host, so
comparing Origin with Host proves nothing; the list does.
"""

from __future__ import annotations

from ipaddress import ip_address


def host_of(header: str) -> str:
    """Return the name in a Host header: no port, no brackets, small letters."""
    text = header.strip().casefold()
    if text.startswith("["):
        return text[1:].partition("]")[0]
    return text.partition(":")[0].rstrip(".")


def is_own(header: str, local_address: str | None, names: frozenset[str]) -> bool:
    """Return whether a Host header names us.

    Args:
        local_address: The address the connection came in at. It is one of ours by nature, so
            the list follows every change of address.
    """
    host = host_of(header)
    if host in names:
        return True
    try:
        address = ip_address(host.partition("%")[0])
    except ValueError:
        return False
    if address.is_loopback:
        return True
    return local_address is not None and host.partition("%")[0] == _plain(local_address)


def _plain(address: str) -> str:
    """Return an address as written in a Host header; an IPv4 one in IPv6 clothes as IPv4."""
    return address.casefold().partition("%")[0].removeprefix("::ffff:")
