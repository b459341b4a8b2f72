"""A serial port without hardware: a pseudo-terminal behind a name that stays."""

from __future__ import annotations

import os
import pty
import tty
from pathlib import Path


class PseudoPort:
    """A port at ``path`` that can be unplugged and plugged in again.

    The kernel keeps neither parity nor 7 data bits on a pseudo-terminal, so use 8N1.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._device: int | None = None

    def __enter__(self) -> PseudoPort:
        self.plug()
        return self

    def __exit__(self, *raised: object) -> None:
        self.unplug()

    def plug(self) -> None:
        """Let the port exist, as the kernel does under a new number."""
        device, port = pty.openpty()
        tty.setraw(device)
        tty.setraw(port)
        os.set_blocking(device, False)
        fresh = self.path.with_suffix(".fresh")
        fresh.symlink_to(os.ttyname(port))
        fresh.replace(self.path)
        os.close(port)  # else a reader would see no hang-up
        self._device = device

    def unplug(self) -> None:
        """Let the port vanish; a reader sees a hang-up."""
        device, self._device = self._device, None
        if device is not None:
            self.path.unlink()
            os.close(device)

    def fileno(self) -> int:
        """Return the device's end, to wait on it."""
        assert self._device is not None, "the port is unplugged"
        return self._device

    def write(self, data: bytes) -> None:
        """Send what the device sends."""
        os.write(self.fileno(), data)

    def read(self) -> bytes:
        """Return what the host has sent so far."""
        try:
            return os.read(self.fileno(), 4096)
        except (BlockingIOError, OSError):
            return b""
