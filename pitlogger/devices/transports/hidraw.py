"""USB HID reports through ``hidraw``: one read is one report.

Node numbers change with every plug, so a device is found by its report descriptor and, where
there are two of a kind, by its serial number. A node may be a SEQPACKET socket, made by another
program: it keeps report boundaries as hidraw does, which a pty or a FIFO would not.

Source: Linux kernel documentation, hidraw; USB Device Class Definition for HID 1.11, 6.2.2
(items of a report descriptor).
"""

from __future__ import annotations

import asyncio
import os
import socket
from collections.abc import AsyncIterator, Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from pitlogger.devices.contract import Chunk
from pitlogger.devices.transports.inbox import Inbox
from pitlogger.errors import TransportError

SCALE = (0x8D, 0x20)  # usage page and usage of a scale
SYSFS = Path("/sys/class/hidraw")
DEV = Path("/dev")
_REPORT = 64  # bytes; the longest report of a full-speed device
_LOOK_S = 1.0
_USAGE_PAGE, _USAGE, _REPORT_ID = 0x04, 0x08, 0x84  # items without their size bits


@dataclass(frozen=True, slots=True)
class HidNode:
    """A HID device as the kernel shows it."""

    path: str
    usage_page: int
    usage: int
    is_numbered: bool
    serial: str
    vendor: str = ""  # four hex digits, as the product
    product: str = ""

    @property
    def rule(self) -> str:
        """The udev rule that lets the service read it, and nobody else's device."""
        return (
            f'KERNEL=="hidraw*", ATTRS{{idVendor}}=="{self.vendor}", '
            f'ATTRS{{idProduct}}=="{self.product}", GROUP="pitlogger", MODE="0660"'
        )


def read_descriptor(raw: bytes) -> tuple[int, int, bool]:
    """Return usage page and usage of the first collection, and whether reports are numbered.

    A cut descriptor gives what came before the cut.
    """
    page = usage = 0
    is_numbered = False
    at = 0
    while at < len(raw):
        prefix = raw[at]
        size = (0, 1, 2, 4)[prefix & 3]
        value = int.from_bytes(raw[at + 1 : at + 1 + size], "little")
        kind = prefix & 0xFC
        if kind == _USAGE_PAGE and not page:
            page = value
        elif kind == _USAGE and not usage:
            usage = value
        elif kind == _REPORT_ID:
            is_numbered = True
        at += 1 + size
    return page, usage, is_numbered


def nodes(sysfs: Path = SYSFS, dev: Path = DEV) -> Iterator[HidNode]:
    """Yield the HID devices that can be described; their nodes lie in ``dev``."""
    for folder in sorted(sysfs.glob("hidraw*")):
        try:
            raw = (folder / "device" / "report_descriptor").read_bytes()
            facts = (folder / "device" / "uevent").read_text("utf-8", errors="replace")
        except OSError:
            continue  # it is being unplugged
        page, usage, is_numbered = read_descriptor(raw)
        serial = next((line[9:] for line in facts.splitlines() if line.startswith("HID_UNIQ=")), "")
        vendor, product = _make(facts)
        yield HidNode(str(dev / folder.name), page, usage, is_numbered, serial, vendor, product)


def _make(facts: str) -> tuple[str, str]:
    """Return vendor and product from ``HID_ID=0003:00001234:00005678``."""
    line = next((line[7:] for line in facts.splitlines() if line.startswith("HID_ID=")), "::")
    _bus, vendor, product = [*line.split(":"), "", ""][:3]
    return vendor[-4:].lower(), product[-4:].lower()


@dataclass(frozen=True, slots=True)
class HidSettings:
    """Which HID device: usage page and usage, and the serial number where given.

    ``report_id`` is put before the reports of a device that does not number them.
    """

    usage_page: int
    usage: int
    serial: str = ""
    report_id: int = 0
    sysfs: Path = SYSFS
    dev: Path = DEV

    def find(self) -> HidNode | None:
        """Return the device, if it is plugged in."""
        wanted = (self.usage_page, self.usage)
        return next(
            (
                node
                for node in nodes(self.sysfs, self.dev)
                if (node.usage_page, node.usage) == wanted and self.serial in ("", node.serial)
            ),
            None,
        )

    @property
    def missing(self) -> str:
        return f"no HID device of usage page 0x{self.usage_page:02X} is plugged in"

    @property
    def permission(self) -> str:
        return "Install the udev rule: pitlogger service files"


class Search(Protocol):
    """Finds one device, and says in words that it is missing or may not be opened."""

    @property
    def report_id(self) -> int: ...

    @property
    def missing(self) -> str: ...

    @property
    def permission(self) -> str: ...

    def find(self) -> HidNode | None: ...


def open_node(path: str) -> int:
    """Open a node for reading without blocking; return its descriptor.

    Raises:
        OSError: It is not there, not permitted, or nobody listens at the socket.
    """
    if not Path(path).is_socket():
        return os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    with socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET) as end:
        end.connect(path)
        end.setblocking(False)
        return end.detach()


class HidTransport:
    """The reports of one HID device.

    Args:
        settings: Which device.
        open_node: Opens a node for reading without blocking; returns its descriptor.
    """

    def __init__(self, settings: Search, open_node: Callable[[str], int] = open_node) -> None:
        self._settings = settings
        self._open_node = open_node
        self._descriptor: int | None = None
        self._prefix = b""
        self._inbox = Inbox()

    async def __aenter__(self) -> HidTransport:
        node = self._settings.find()
        if node is None:
            raise TransportError(
                self._settings.missing,
                remedy="Plug it in and switch it on; it may have gone to sleep",
            )
        try:
            self._descriptor = self._open_node(node.path)
        except PermissionError as error:
            raise TransportError(
                f"no permission to open {node.path}",
                remedy=self._settings.permission,
            ) from error
        except OSError as error:
            raise TransportError(
                f"{node.path} cannot be opened ({error.strerror})",
                remedy="Unplug it and plug it in again",
            ) from error
        self._prefix = b"" if node.is_numbered else bytes((self._settings.report_id,))
        asyncio.get_running_loop().add_reader(self._descriptor, self._on_readable)
        return self

    async def __aexit__(self, *exc: object) -> None:
        descriptor, self._descriptor = self._descriptor, None
        if descriptor is not None:
            asyncio.get_running_loop().remove_reader(descriptor)
            os.close(descriptor)

    def chunks(self) -> AsyncIterator[Chunk]:
        """Yield reports, each beginning with its report id.

        Raises:
            TransportError: The device was unplugged or went to sleep.
        """
        return self._inbox.chunks()

    async def send(self, data: bytes) -> None:
        """Refuse: such devices are only read."""
        raise TransportError(f"it takes no commands ({data.hex()})")

    async def appears(self) -> None:
        """Return when a missing device is plugged in or wakes, under whatever number."""
        while self._settings.find() is not None:  # noqa: ASYNC110 - a look in sysfs is all there is
            await asyncio.sleep(_LOOK_S)
        while self._settings.find() is None:  # noqa: ASYNC110
            await asyncio.sleep(_LOOK_S)

    def _on_readable(self) -> None:
        assert self._descriptor is not None
        try:
            report = os.read(self._descriptor, _REPORT)
        except BlockingIOError:
            return
        except OSError:
            report = b""  # EIO or ENODEV, by the moment of unplugging
        if report:
            self._inbox.put("", self._prefix + report)
            return
        asyncio.get_running_loop().remove_reader(self._descriptor)
        self._inbox.fail(
            TransportError(
                "the HID device went away",
                remedy="Check its plug, and whether it went to sleep; it is read again when back",
            )
        )
