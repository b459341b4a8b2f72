"""Kernel sensors: a folder that looks like ``/sys``, with the probes of a device in it.

    w1/28-000000000001/w1_slave, temperature       one 1-Wire sensor a channel
    iio/iio:device0/name, in_temp_raw, ...         one thermocouple amplifier a channel
    hwmon/hwmon0/name, temp1_input, ...            one chip for all channels

Layouts: Linux kernel documentation (w1_therm, sysfs-bus-iio, hwmon sysfs interface).
"""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pitlogger.model.readings import Quality
from pitlogger_simulators.devices.emulated import Emulated
from pitlogger_simulators.devices.frames import w1_text
from pitlogger_simulators.devices.instruments import Sample
from pitlogger_simulators.play import Outlet, Play
from pitlogger_simulators.scenarios.form import DeviceForm

IIO_STEP_MC = 250.0  # a quarter of a degree, as common amplifiers have


class KernelTree(Emulated):
    """Probes as files; a lost device's folders vanish."""

    def __init__(self, play: Play, table: DeviceForm, folder: Path) -> None:
        super().__init__(play, table)
        self.root = folder / f"sys-{table.id}"
        self.link(True)

    def link(self, up: bool) -> None:
        if not up:
            shutil.rmtree(self.root, ignore_errors=True)
            return
        for number, outlet in enumerate(self.outlets):
            self.home(number).mkdir(parents=True, exist_ok=True)
            self.found(number, outlet.channel)

    def send(self, due: Sequence[Outlet]) -> None:
        for channel, sample in self.samples(due).items():
            self.show(self.number(channel), sample)

    def number(self, channel: str) -> int:
        """Return the place of a channel among those of the device, from 0."""
        return [outlet.channel for outlet in self.outlets].index(channel)

    def close(self) -> None:
        shutil.rmtree(self.root, ignore_errors=True)

    def home(self, number: int) -> Path:
        """Return the folder of the sensor of that number."""
        raise NotImplementedError

    def found(self, number: int, channel: str) -> None:
        """Write what does not change."""
        raise NotImplementedError

    def show(self, number: int, sample: Sample) -> None:
        """Write a value."""
        raise NotImplementedError


READ_EVERY_S = 0.1  # real seconds: simulated time may run fast


class OneWire(KernelTree):
    """1-Wire sensors."""

    driver = "w1"

    def home(self, number: int) -> Path:
        return self.root / f"28-{number + 1:012x}"

    def found(self, number: int, channel: str) -> None:
        _write(self.home(number) / "name", self.home(number).name)

    def show(self, number: int, sample: Sample) -> None:
        _write(self.home(number) / "w1_slave", w1_text(sample))
        milli_c = "" if sample.value is None else f"{round(sample.value * 16) * 62.5:.0f}"
        _write(self.home(number) / "temperature", milli_c)

    def keys(self) -> dict[str, Any]:
        return {"root": str(self.root), "every_s": READ_EVERY_S}

    def channel_name(self, channel: str) -> str:
        return f"temperature/{self.home(self.number(channel)).name}"


class Amplifiers(KernelTree):
    """A thermocouple amplifier; an open probe is a file of its own beside a wrong number.

    One driver reads one amplifier, so the device of a scenario has one probe.
    """

    driver = "iio"

    def home(self, number: int) -> Path:
        return self.root / f"iio:device{number}"

    def found(self, number: int, channel: str) -> None:
        _write(self.home(number) / "name", "thermocouple")
        _write(self.home(number) / "in_temp_scale", f"{IIO_STEP_MC:g}")
        _write(self.home(number) / "fault_oc", "0")

    def show(self, number: int, sample: Sample) -> None:
        is_open = sample.value is None and sample.quality is Quality.OPEN
        _write(self.home(number) / "fault_oc", "1" if is_open else "0")
        value_c = 0.0 if sample.value is None else sample.value
        _write(self.home(number) / "in_temp_raw", str(round(value_c * 1000 / IIO_STEP_MC)))

    def keys(self) -> dict[str, Any]:
        return {"root": str(self.root), "name": "thermocouple", "every_s": READ_EVERY_S}

    def channel_name(self, channel: str) -> str:
        return "temperature"


class MonitorChip(KernelTree):
    """A hardware-monitoring chip with a channel a probe."""

    driver = "hwmon"

    def home(self, number: int) -> Path:
        return self.root / "hwmon0"

    def found(self, number: int, channel: str) -> None:
        _write(self.home(number) / "name", "probes")
        _write(self.home(number) / f"temp{number + 1}_label", channel)
        _write(self.home(number) / f"temp{number + 1}_fault", "0")

    def show(self, number: int, sample: Sample) -> None:
        stem = self.home(number) / f"temp{number + 1}"
        _write(Path(f"{stem}_fault"), "1" if sample.value is None else "0")
        _write(Path(f"{stem}_input"), f"{(sample.value or 0.0) * 1000:.0f}")

    def keys(self) -> dict[str, Any]:
        return {"root": str(self.root), "name": "probes", "every_s": READ_EVERY_S}

    def channel_name(self, channel: str) -> str:
        number = self.number(channel) + 1
        return "temperature" if number == 1 else f"temperature-{number}"


def _write(path: Path, text: str) -> None:
    """Replace a file at once: a reader finds the old text or the new one."""
    fresh = path.with_name(path.name + ".new")
    fresh.write_text(text + "\n", encoding="ascii", errors="replace")
    fresh.replace(path)
