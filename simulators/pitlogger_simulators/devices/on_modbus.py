"""A Modbus RTU transmitter: answers requests for its input or holding registers.

Source: Modbus application protocol and serial line specifications, from memory.
"""

from __future__ import annotations

import asyncio
import struct
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pitlogger_simulators.devices.frames import modbus_crc, modbus_reply
from pitlogger_simulators.devices.instruments import Sample
from pitlogger_simulators.devices.on_serial import OnSerial
from pitlogger_simulators.play import Outlet, Play
from pitlogger_simulators.scenarios.form import DeviceForm

UNIT = 5
ASK_EVERY_S = 0.1  # real seconds: simulated time may run fast
_REQUEST = 8  # bytes: unit, function, first register, count, CRC
_READS = (3, 4)
_ILLEGAL_FUNCTION, _ILLEGAL_ADDRESS = 1, 2


class Transmitter(OnSerial):
    """One register of 0.1 C a probe, from register 0; it speaks only when asked."""

    driver = "modbus"

    def __init__(self, play: Play, table: DeviceForm, folder: Path) -> None:
        super().__init__(play, table, folder)
        self._shown: dict[str, Sample] = {}
        self._heard = b""
        self._watched: int | None = None
        self._watch()

    def send(self, due: Sequence[Outlet]) -> None:
        self._shown |= self.samples(due)

    def link(self, up: bool) -> None:
        self._unwatch()
        super().link(up)
        self._watch()

    def close(self) -> None:
        self._unwatch()
        super().close()

    def keys(self) -> dict[str, Any]:
        registers = ",".join(f"{n}:i16:0.1:Cel" for n in range(len(self.outlets)))
        return {**super().keys(), "unit": UNIT, "map": registers, "every_s": ASK_EVERY_S}

    def channel_name(self, channel: str) -> str:
        return f"register-{[outlet.channel for outlet in self.outlets].index(channel)}"

    def answer(self, request: bytes) -> bytes:
        """Return the answer to one request; none where it is not for us or is broken."""
        if request[-2:] != modbus_crc(request[:-2]) or request[0] != UNIT:
            return b""
        function, first, count = struct.unpack(">BHH", request[1:6])
        if function not in _READS:
            return _exception(function, _ILLEGAL_FUNCTION)
        samples = [self._shown.get(outlet.channel) for outlet in self.outlets]
        if not 0 < count <= len(samples) - first:
            return _exception(function, _ILLEGAL_ADDRESS)
        return modbus_reply(UNIT, function, samples[first : first + count])

    def _watch(self) -> None:
        self._watched = self.port.descriptor
        if self._watched is not None:
            asyncio.get_running_loop().add_reader(self._watched, self._on_request)

    def _unwatch(self) -> None:
        if self._watched is not None:
            asyncio.get_running_loop().remove_reader(self._watched)
            self._watched = None

    def _on_request(self) -> None:
        data = self.port.read()
        if not data:  # nobody has the port open: looking again at each beat is enough
            self._unwatch()
            asyncio.get_running_loop().call_later(0.1, self._rewatch)
            return
        self._heard += data
        while len(self._heard) >= _REQUEST:
            request, self._heard = self._heard[:_REQUEST], self._heard[_REQUEST:]
            reply = self.answer(request)
            if reply and all(
                self.play.faults.delivers(o.channel, self.table.id, self.play.now_ms)
                for o in self.outlets
            ):
                self._write(reply)

    def _rewatch(self) -> None:
        if self._watched is None and self.port.is_plugged:
            self._watch()


def _exception(function: int, code: int) -> bytes:
    frame = bytes((UNIT, function | 0x80, code))
    return frame + modbus_crc(frame)
