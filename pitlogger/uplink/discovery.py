"""Hubs found on the local network, so that joining one needs its code alone.

A hub announces itself by DNS-SD; its text record holds the letters that begin every code of it, so
that a node with a code knows which of several hubs is meant. What answers is believed no more
than an address that somebody typed: the code decides. Without zeroconf (extra ``fleet``)
addresses are typed. Sources: RFC 6762 (multicast DNS), RFC 6763 (DNS-SD).
"""

from __future__ import annotations

import asyncio
import logging
import socket
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from pitlogger.errors import UsageError
from pitlogger.formats.join_code import parse_code

log = logging.getLogger(__name__)

SERVICE = "_pitlogger-hub._tcp.local."
LOOK_S, ANSWER_MS = 2.5, 1500
LETTERS = "a"  # key of the text record


@dataclass(frozen=True, slots=True)
class FoundHub:
    """A hub that announced itself: where, its name there, the letters its codes begin with."""

    address: str
    name: str
    letters: str


async def find_hubs(seconds: float = LOOK_S, interfaces: Sequence[str] = ()) -> list[FoundHub]:
    """Return the hubs that answer on the local network.

    Raises:
        UsageError: zeroconf is not installed, or this host has no network to ask on.
    """
    try:
        from zeroconf import ServiceStateChange
        from zeroconf.asyncio import AsyncServiceBrowser, AsyncServiceInfo, AsyncZeroconf
    except ImportError:
        raise UsageError(
            "name the hub's address: finding it needs pitlogger with its extra 'fleet'"
        ) from None
    names: set[str] = set()

    def changed(name: str, state_change: ServiceStateChange, **_: Any) -> None:
        if state_change is ServiceStateChange.Added:
            names.add(name)

    try:
        network = AsyncZeroconf(**_on(interfaces))
    except OSError as fault:
        raise UsageError(f"name the hub's address: no network to find it on ({fault})") from None
    try:
        browser = AsyncServiceBrowser(network.zeroconf, SERVICE, handlers=[changed])
        await asyncio.sleep(seconds)
        await browser.async_cancel()
        infos = [AsyncServiceInfo(SERVICE, name) for name in sorted(names)]
        await asyncio.gather(*(info.async_request(network.zeroconf, ANSWER_MS) for info in infos))
        return [found for info in infos if (found := _found(info)) is not None]
    finally:
        await network.async_close()


async def find_by_code(code: str, interfaces: Sequence[str] = ()) -> str:
    """Return the address of the hub that a code is of.

    Raises:
        UsageError: The code cannot be read, or no such hub answers.
    """
    letters, _ = parse_code(code)
    hubs = await find_hubs(interfaces=interfaces)
    for hub in hubs:
        if hub.letters == letters:
            return hub.address
    others = f" (others do: {', '.join(hub.address for hub in hubs)})" if hubs else ""
    raise UsageError(
        f"no hub of this code answers on this network{others}: check the code, or name the hub's"
        " address: pitlogger uplink join HUB CODE"
    )


@asynccontextmanager
async def announced(
    address: str, name: str, letters: str, interfaces: Sequence[str] = ()
) -> AsyncIterator[None]:
    """Announce a hub while the context is open; where that cannot be, addresses are typed."""
    try:
        from zeroconf.asyncio import AsyncServiceInfo, AsyncZeroconf

        parts = urlsplit(address)
        host = socket.inet_aton(socket.gethostbyname(parts.hostname or ""))
        network = AsyncZeroconf(**_on(interfaces))
    except (ImportError, OSError) as fault:
        log.info("the hub is not announced on the local network: %s", fault)
        yield
        return
    label = "".join(letter if letter.isalnum() else "-" for letter in name)[:40] or "hub"
    info = AsyncServiceInfo(
        SERVICE, f"{label}-{letters[:4]}.{SERVICE}", addresses=[host], port=parts.port or 8443,
        properties={LETTERS: letters}, server=f"{label}-{letters[:4]}.local.",
    )  # fmt: skip
    try:
        await network.async_register_service(info, allow_name_change=True)
        yield
    finally:
        await network.async_unregister_all_services()
        await network.async_close()


def _on(interfaces: Sequence[str]) -> dict[str, Any]:
    return {"interfaces": list(interfaces)} if interfaces else {}


def _found(info: Any) -> FoundHub | None:
    letters = (info.properties or {}).get(LETTERS.encode())
    addresses = info.parsed_addresses()
    if not letters or not addresses or not info.port:
        return None
    label = info.name.removesuffix(f".{SERVICE}")
    return FoundHub(
        f"https://{addresses[0]}:{info.port}", label, letters.decode("ascii", "replace")
    )
