"""A serial port without a cable: a pseudo-terminal behind a name that stays the same."""

from __future__ import annotations

import os
import select
import tty
from contextlib import suppress
from pathlib import Path

_READ = 4096


class PtyPort:
    """One port. ``path`` is a symbolic link; unplugging hangs up, plugging makes a new one."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._master: int | None = None
        self.plug()

    @property
    def is_plugged(self) -> bool:
        return self._master is not None

    @property
    def descriptor(self) -> int | None:
        """The device's end, ``None`` while unplugged."""
        return self._master

    @property
    def is_open(self) -> bool:
        """Whether somebody has the port open."""
        if self._master is None:
            return False
        poll = select.poll()
        poll.register(self._master, 0)
        return not poll.poll(0)

    def plug(self) -> None:
        """Make a pseudo-terminal and let the name point at it."""
        if self._master is not None:
            return
        master, slave = os.openpty()
        tty.setraw(master)
        tty.setraw(slave)
        os.set_blocking(master, False)
        name = os.ttyname(slave)
        os.close(slave)  # else nobody would be hung up on unplugging
        fresh = self.path.with_name(self.path.name + ".new")
        fresh.unlink(missing_ok=True)
        fresh.symlink_to(name)
        fresh.replace(self.path)
        self._master = master

    def unplug(self) -> None:
        """Hang up; whoever has the port open gets an error."""
        if self._master is not None:
            os.close(self._master)
            self._master = None
            self.path.unlink(missing_ok=True)

    def write(self, data: bytes) -> None:
        """Send bytes; they are lost while nobody reads and the buffer is full."""
        if self._master is not None:
            with suppress(BlockingIOError, OSError):
                os.write(self._master, data)

    def read(self) -> bytes:
        """Return what was sent to the device since, often nothing."""
        if self._master is None:
            return b""
        try:
            return os.read(self._master, _READ)
        except (BlockingIOError, OSError):
            return b""
