"""A USB HID scale: reports through a SEQPACKET pair, which keeps their boundaries.

The node itself cannot be made without a kernel module, so the transport is handed
``open_node``; the folder that describes the device is like the kernel's.
"""

from __future__ import annotations

import socket
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from pitlogger_simulators.devices.emulated import Emulated
from pitlogger_simulators.devices.instruments import Scale
from pitlogger_simulators.devices.octets import hid_report
from pitlogger_simulators.play import Outlet, Play
from pitlogger_simulators.scenarios.form import DeviceTable

# Usage page 0x8D, usage 0x20, application collection, report id 3, end.
# Source: USB Device Class Definition for HID 1.11, 6.2.2; HID usage tables, page 0x8D.
DESCRIPTOR = bytes.fromhex("058d0920a1018503c0")


class HidScale(Emulated):
    """A scale on USB. Unplugging closes the pair; plugging in makes another."""

    driver = "hid-scale"

    def __init__(self, play: Play, table: DeviceTable, folder: Path) -> None:
        super().__init__(play, table)
        self.sysfs = folder / f"hidraw-{table.id}"
        self._ours: socket.socket | None = None
        self._theirs: socket.socket | None = None
        self.link(True)

    def link(self, up: bool) -> None:
        node = self.sysfs / "hidraw0"
        if not up:
            self._hang_up()
            node.rename(self.sysfs / "gone-hidraw0")
            return
        gone = self.sysfs / "gone-hidraw0"
        if gone.exists():
            gone.rename(node)
        device = node / "device"
        device.mkdir(parents=True, exist_ok=True)
        (device / "report_descriptor").write_bytes(DESCRIPTOR)
        (device / "uevent").write_text(f"HID_UNIQ={self.table.id}\n", encoding="ascii")
        self._ours, self._theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        self._ours.setblocking(False)

    def open_node(self, path: str) -> int:
        """Open the node, as ``HidTransport`` asks; one reader at a time."""
        if self._theirs is None:
            raise OSError(19, "no such device", path)
        theirs, self._theirs = self._theirs, None
        theirs.setblocking(False)
        return theirs.detach()

    def send(self, due: Sequence[Outlet]) -> None:
        if self._ours is None:
            return
        for channel, sample in self.samples(due).items():
            scale = self.play.outlets[channel].instrument
            assert isinstance(scale, Scale)
            report = hid_report(sample, scale.unit)
            for frame in self.play.faults.frames(self.table.id, self.play.now_ms, [report]):
                with suppress(BlockingIOError, BrokenPipeError, ConnectionError):
                    self._ours.send(frame)

    def keys(self) -> dict[str, Any]:
        return {"serial": self.table.id, "sysfs": str(self.sysfs)}

    def channel_name(self, channel: str) -> str:
        return "mass"

    def close(self) -> None:
        self._hang_up()

    def _hang_up(self) -> None:
        for end in (self._ours, self._theirs):
            if end is not None:
                end.close()
        self._ours = self._theirs = None
