"""One keyboard of the kernel's input system, grabbed: what it types reaches no other program.

Source: Linux kernel documentation, input; ``linux/input.h``: ``EVIOCGRAB`` is ``_IOW('E', 0x90,
int)``. A read gives whole events.
"""

from __future__ import annotations

import fcntl
import os
from dataclasses import dataclass
from pathlib import Path

from pitlogger.devices.transports.hidraw import HidNode

EVIOCGRAB = 0x40044590


@dataclass(frozen=True, slots=True)
class KeyboardSettings:
    """The node of the keyboard that is meant; no other is ever opened."""

    path: str
    report_id: int = 0

    def find(self) -> HidNode | None:
        """Return the keyboard, if it is plugged in."""
        return HidNode(self.path, 1, 6, True, "") if Path(self.path).exists() else None

    @property
    def missing(self) -> str:
        return f"there is no {self.path}"

    @property
    def permission(self) -> str:
        return "Let the service read it: sudo usermod -aG input pitlogger, then restart"


def grab(path: str) -> int:
    """Open a keyboard for us alone; return its descriptor.

    Raises:
        OSError: It is not there, not permitted, grabbed by another, or no keyboard.
    """
    descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    try:
        fcntl.ioctl(descriptor, EVIOCGRAB, 1)
    except OSError:
        os.close(descriptor)
        raise
    return descriptor
