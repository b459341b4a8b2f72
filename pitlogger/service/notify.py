"""What systemd is sent: ready, reloading, stopping, and that all is alive (sd_notify(3)).

The watchdog is petted only while the engine keeps up with its clock and the disk has really
answered within the period: it took a write, or refused one and that was reported. A disk that
hangs, a loop that hangs and an engine that stands still end in a restart; a full disk does
not, since a restart would throw away what waits in memory for room.
"""

from __future__ import annotations

import asyncio
import os
import socket
import time
from collections.abc import Callable
from typing import Protocol

LOOKS = 3  # at its state in one period of the watchdog


def notify(message: str) -> bool:
    """Send lines such as ``READY=1`` to systemd; return whether anybody listens."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address:
        return False
    name = "\0" + address[1:] if address.startswith("@") else address
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as way:
        way.sendto(message.encode(), name)
    return True


def ready(status: str) -> None:
    """Say that the service is up; ``status`` is shown by ``systemctl status``."""
    notify(f"READY=1\nSTATUS={status}")


def reloading() -> None:
    """Say that the configuration is read anew; ``ready`` ends it."""
    notify(f"RELOADING=1\nMONOTONIC_USEC={time.monotonic_ns() // 1000}")


def stopping() -> None:
    """Say that the service ends."""
    notify("STOPPING=1")


def period_s() -> float | None:
    """Return how often the watchdog wants to be petted; ``None`` where there is none."""
    own = os.environ.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
    text = os.environ.get("WATCHDOG_USEC", "")
    return int(text) / 1e6 if own and text.isdigit() and int(text) else None


class Writing(Protocol):
    """What the watchdog asks of the store."""

    @property
    def answered_s(self) -> float: ...

    def beat(self) -> object: ...


class Watchdog:
    """Pets systemd's watchdog for as long as the daemon deserves it."""

    def __init__(
        self,
        store: Writing,
        keeps_up: Callable[[], bool],
        every_s: float,
        now_s: Callable[[], float] = time.monotonic,
    ) -> None:
        """Only remember.

        Args:
            store: Asked when the disk last answered; made to write where that is long ago.
            keeps_up: Whether the engine does.
            every_s: The period after which systemd restarts the service.
            now_s: Monotonic time.
        """
        self._store = store
        self._keeps_up = keeps_up
        self._every_s = every_s
        self._now_s = now_s

    def look(self) -> bool:
        """Pet the watchdog if all is alive; return whether it is."""
        age_s = self._now_s() - self._store.answered_s
        if age_s > self._every_s / LOOKS:
            self._store.beat()
        is_alive = age_s < self._every_s and self._keeps_up()
        if is_alive:
            notify("WATCHDOG=1")
        return is_alive

    async def run(self) -> None:
        """Look three times a period, for ever."""
        while True:
            self.look()
            await asyncio.sleep(self._every_s / LOOKS)
