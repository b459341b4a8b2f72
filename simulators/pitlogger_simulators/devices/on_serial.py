"""Devices on serial ports: a scale, and a board that prints separated values."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pitlogger_simulators.devices.emulated import Emulated
from pitlogger_simulators.devices.frames import csv_header, csv_values, header_line
from pitlogger_simulators.devices.instruments import Scale
from pitlogger_simulators.devices.ports import PtyPort
from pitlogger_simulators.play import Outlet, Play
from pitlogger_simulators.scenarios.form import DeviceForm

OFF_FOR_S = 43_200.0  # a scale that switches itself off is silent, and its port is still there
HEADER_EVERY = 20  # lines; a program that opens the port later must learn the columns too


class OnSerial(Emulated):
    """A device at the end of a pseudo-terminal."""

    def __init__(self, play: Play, table: DeviceForm, folder: Path) -> None:
        super().__init__(play, table)
        self.port = PtyPort(folder / f"tty-{table.id}")

    def beat(self) -> None:
        if self.lost_tries and self.port.is_open:
            self._hang_up()
        super().beat()

    def link(self, up: bool) -> None:
        if up:
            self.port.plug()
        else:
            self.port.unplug()

    def lose_tries(self, steps: frozenset[str]) -> None:
        if steps:
            self._hang_up()

    def _hang_up(self) -> None:
        self.link(False)
        self.link(True)

    def keys(self) -> dict[str, Any]:
        return {"port": str(self.port.path)}

    def close(self) -> None:
        self.port.unplug()

    def _write(self, line: bytes) -> None:
        for frame in self.play.faults.frames(self.table.id, self.play.now_ms, [line]):
            self.port.write(frame)


class EmulatedSerialScale(OnSerial):
    """A scale that sends lines of the header family, ``ST,GS,+  1.234kg``."""

    driver = "serial-scale"

    def send(self, due: Sequence[Outlet]) -> None:
        for channel, sample in self.samples(due).items():
            scale = self.play.outlets[channel].instrument
            assert isinstance(scale, Scale)
            self._write(header_line(sample, scale.unit))

    def keys(self) -> dict[str, Any]:
        return {**super().keys(), "silence_s": OFF_FOR_S}

    def channel_name(self, channel: str) -> str:
        return "mass"


class CsvBoard(OnSerial):
    """A micro-controller with several probes; one line has them all."""

    driver = "csv-line"

    def __init__(self, play: Play, table: DeviceForm, folder: Path) -> None:
        super().__init__(play, table, folder)
        self._lines = 0

    def send(self, due: Sequence[Outlet]) -> None:
        channels = [outlet.channel for outlet in self.outlets]
        if self._lines % HEADER_EVERY == 0:
            self._write(csv_header({c: f"{self.channel_name(c)}_c" for c in channels}))
        self._lines += 1
        samples = self.samples(due)
        self._write(csv_values({channel: samples.get(channel) for channel in channels}))

    def link(self, up: bool) -> None:
        super().link(up)
        self._lines = 0

    def keys(self) -> dict[str, Any]:
        columns = ",".join(f"{self.channel_name(outlet.channel)}:Cel" for outlet in self.outlets)
        return {**super().keys(), "map": columns}

    def channel_name(self, channel: str) -> str:
        return re.sub(r"[^a-z0-9]+", "_", channel.casefold()).strip("_")
