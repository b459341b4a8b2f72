"""A USB HID scale: reports through a SEQPACKET socket, which keeps their boundaries.

A true node cannot be made without a kernel module. The socket lies where the node would, and
the folder that describes the device is like the kernel's.
"""

from __future__ import annotations

import shutil
import socket
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pitlogger_simulators.devices.emulated import Emulated
from pitlogger_simulators.devices.frames import hid_report
from pitlogger_simulators.devices.instruments import Scale
from pitlogger_simulators.devices.on_serial import OFF_FOR_S
from pitlogger_simulators.play import Outlet, Play
from pitlogger_simulators.scenarios.form import DeviceForm

# Usage page 0x8D, usage 0x20, application collection, report id 3, end.
# Source: USB Device Class Definition for HID 1.11, 6.2.2; HID usage tables, page 0x8D.
DESCRIPTOR = bytes.fromhex("058d0920a1018503c0")
_NAME = "hidraw0"


class EmulatedHidScale(Emulated):
    """A scale on USB. Unplugging hangs up and takes node and folder away."""

    driver = "hid-scale"

    def __init__(self, play: Play, table: DeviceForm, folder: Path) -> None:
        super().__init__(play, table)
        self.sysfs, self.dev = folder / f"hid-{table.id}", folder / f"dev-{table.id}"
        self.dev.mkdir(parents=True, exist_ok=True)
        self._node: socket.socket | None = None
        self._readers: list[socket.socket] = []
        self.link(True)

    def link(self, up: bool) -> None:
        if not up:
            self._unplug()
            return
        device = self.sysfs / _NAME / "device"
        device.mkdir(parents=True, exist_ok=True)
        (device / "uevent").write_text(f"HID_UNIQ={self.table.id}\n", encoding="ascii")
        self._node = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        self._node.bind(str(self.dev / _NAME))
        self._node.listen()
        self._node.setblocking(False)
        (device / "report_descriptor").write_bytes(DESCRIPTOR)  # found by it, so last

    def beat(self) -> None:
        self._let_in()
        if self.lost_tries:
            self._hang_up()
        super().beat()

    def lose_tries(self, steps: frozenset[str]) -> None:
        if steps:
            self._hang_up()

    def send(self, due: Sequence[Outlet]) -> None:
        for channel, sample in self.samples(due).items():
            scale = self.play.outlets[channel].instrument
            assert isinstance(scale, Scale)
            report = hid_report(sample, scale.unit)
            for frame in self.play.faults.frames(self.table.id, self.play.now_ms, [report]):
                self._report(frame)

    def keys(self) -> dict[str, Any]:
        return {
            "serial": self.table.id,
            "sysfs": str(self.sysfs),
            "dev": str(self.dev),
            "silence_s": OFF_FOR_S,
        }

    def channel_name(self, channel: str) -> str:
        return "mass"

    def close(self) -> None:
        self._unplug()

    def _let_in(self) -> None:
        """Let those in who have opened the node; a report goes to each, as with hidraw."""
        while self._node is not None:
            try:
                reader, _ = self._node.accept()
            except BlockingIOError:
                return
            reader.setblocking(False)
            self._readers.append(reader)

    def _report(self, frame: bytes) -> None:
        for reader in tuple(self._readers):
            try:
                reader.send(frame)
            except BlockingIOError:
                continue  # its reader is slow; the kernel's queue would overflow as well
            except (BrokenPipeError, ConnectionError):
                self._readers.remove(reader)
                reader.close()

    def _unplug(self) -> None:
        shutil.rmtree(self.sysfs, ignore_errors=True)
        if self._node is not None:
            self._node.close()
            (self.dev / _NAME).unlink(missing_ok=True)
            self._node = None
        self._hang_up()

    def _hang_up(self) -> None:
        for reader in self._readers:
            reader.close()
        self._readers.clear()
