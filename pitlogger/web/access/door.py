"""The door: which connections are let in, how many, how fast, and for how long.

The page shares the loop that rings. What a stranger can do to that loop is bounded here before
a byte is parsed: connections in all and from one address, connections accepted a second, and
the time that a head and an unread answer may take. Descriptors beyond that stay free
for devices, alarms and the local socket.

Where the door is full, a connection that has asked for nothing yet gives way to a new one.
"""

from __future__ import annotations

import asyncio
import errno
import logging
import resource
import socket
import ssl
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from ipaddress import ip_address
from typing import Protocol

log = logging.getLogger(__name__)

KEPT_FREE = 160  # descriptors for the record, devices, ways of telling, the local socket
WANTED_FILES = 4096
_OUT_OF_ROOM = frozenset({errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM})
_PAUSE_S = 0.5  # without accepting, where the system has no room
_STEP_S = 0.05


@dataclass(frozen=True, slots=True)
class DoorLimits:
    """What a listening socket allows. Times in seconds.

    Attributes:
        connections: At once, in all; ``per_address`` from one host or IPv6 network.
        accepted_per_s: Taken from the queue of the kernel; more wait there.
        head_s: Until a request's head is whole; also the TLS handshake.
        unread_s: How long an answer may wait for who asked.
        head_bytes: Of a request's head.
    """

    connections: int
    per_address: int
    accepted_per_s: float = 200.0
    head_s: float = 10.0
    unread_s: float = 20.0
    head_bytes: int = 16 * 1024


NETWORK = DoorLimits(connections=160, per_address=32)
LOCAL = DoorLimits(connections=64, per_address=64)


class Guest(Protocol):
    """A connection as the door sees it."""

    @property
    def has_asked(self) -> bool:
        """Whether a request is being answered."""

    def throw_out(self) -> None:
        """End the connection at once."""


def with_room(limits: DoorLimits) -> DoorLimits:
    """Return limits that leave the descriptors which everything else needs."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    with suppress(OSError, ValueError):  # the system may forbid it; then what is there must do
        wanted = WANTED_FILES if hard == resource.RLIM_INFINITY else min(WANTED_FILES, hard)
        if soft < wanted:
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
    files = resource.getrlimit(resource.RLIMIT_NOFILE)[0]
    if files == resource.RLIM_INFINITY:
        return limits
    most = max(8, min(limits.connections, files - KEPT_FREE))
    each = min(limits.per_address, max(4, most // 2))
    return replace(limits, connections=most, per_address=each)


def origin_of(address: object) -> str:
    """Return whose a connection is: the IPv4 address, the /64 network of IPv6, else nothing."""
    if not isinstance(address, tuple) or not address:
        return ""
    try:
        found = ip_address(str(address[0]).partition("%")[0])
    except ValueError:
        return ""
    mapped = getattr(found, "ipv4_mapped", None)
    if mapped is not None:
        return str(mapped)
    return str(found) if found.version == 4 else found.exploded[:19]


class Door:
    """Accepts connections of one listening socket; has the shape of an asyncio server.

    Args:
        listening: Bound and listening.
        limits: What is allowed.
        tls: Of the connections, where they are encrypted.
        seat: Makes the protocol of a new connection.
    """

    def __init__(
        self,
        listening: socket.socket,
        limits: DoorLimits,
        tls: ssl.SSLContext | None,
        seat: Callable[[], asyncio.Protocol],
    ) -> None:
        self._listening = listening
        self._limits = limits
        self._tls = tls
        self._seat = seat
        self._guests: dict[Guest, str] = {}
        self._origins: Counter[str] = Counter()
        self._coming: set[asyncio.Task[None]] = set()
        self.turned_away = 0  # connections refused, or ended to make room
        listening.setblocking(False)
        self._task = asyncio.create_task(self._accept_for_ever(), name="door")

    def __len__(self) -> int:
        return len(self._guests)

    # -- as asyncio.Server ------------------------------------------------------------------

    def close(self) -> None:
        """Accept nothing more."""
        self._task.cancel()
        for task in self._coming:
            task.cancel()

    async def wait_closed(self) -> None:
        """Wait until nothing is accepted any more."""
        await asyncio.gather(self._task, *self._coming, return_exceptions=True)

    # -- guests -----------------------------------------------------------------------------

    def came(self, guest: Guest, address: object) -> None:
        """Count a connection in."""
        origin = origin_of(address)
        self._guests[guest] = origin
        self._origins[origin] += 1

    def went(self, guest: Guest) -> None:
        """Count a connection out."""
        origin = self._guests.pop(guest, None)
        if origin is not None:
            self._origins[origin] -= 1
            if not self._origins[origin]:
                del self._origins[origin]

    def _has_room_for(self, origin: str) -> bool:
        """Make room for a new connection; return whether there is."""
        if self._origins[origin] >= self._limits.per_address:
            return self._makes_way(origin)
        if len(self._guests) + len(self._coming) >= self._limits.connections:
            return self._makes_way(None)
        return True

    def _makes_way(self, origin: str | None) -> bool:
        """End the oldest connection that has asked for nothing; return whether there was one."""
        for guest, of in self._guests.items():
            if not guest.has_asked and origin in (None, of):
                self.went(guest)
                guest.throw_out()
                self.turned_away += 1
                return True
        return False

    # -- accepting --------------------------------------------------------------------------

    async def _accept_for_ever(self) -> None:
        loop = asyncio.get_running_loop()
        allowed, at_s = self._limits.accepted_per_s, loop.time()
        while True:
            while allowed < 1.0:
                await asyncio.sleep(_STEP_S)
                now_s = loop.time()
                allowed += (now_s - at_s) * self._limits.accepted_per_s
                allowed, at_s = min(allowed, self._limits.accepted_per_s), now_s
            allowed -= 1.0
            try:
                connection, address = await loop.sock_accept(self._listening)
            except OSError as fault:
                if fault.errno in _OUT_OF_ROOM:
                    log.error("no connection can be taken: %s", fault.strerror)
                await asyncio.sleep(_PAUSE_S)
                continue
            if not self._has_room_for(origin_of(address)):
                log.warning("connections are turned away: %d are open", len(self._guests))
                connection.close()
                self.turned_away += 1
                continue
            task = asyncio.create_task(self._seated(connection), name="door-guest")
            self._coming.add(task)
            task.add_done_callback(self._coming.discard)

    async def _seated(self, connection: socket.socket) -> None:
        loop = asyncio.get_running_loop()
        patience_s = None if self._tls is None else self._limits.head_s
        try:
            await loop.connect_accepted_socket(
                self._seat, connection, ssl=self._tls, ssl_handshake_timeout=patience_s,
                ssl_shutdown_timeout=None if self._tls is None else 2.0,
            )  # fmt: skip
        except (OSError, asyncio.CancelledError):  # gone again, or no TLS
            connection.close()
