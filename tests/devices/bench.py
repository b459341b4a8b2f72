"""One device on a bench: a supervisor that runs it, what it measured and what was said."""

from __future__ import annotations

from typing import Any

from pitlogger.devices.contract import Measurement, Memory
from pitlogger.devices.registry import Registry, configure
from pitlogger.devices.supervisor import Device, Link, Supervisor
from pitlogger.testing import until


class Bench:
    """Runs one device and keeps what it says."""

    def __init__(self) -> None:
        self.found: list[Measurement] = []
        self.latest: dict[str, Measurement] = {}
        self.said: list[tuple[Link, str]] = []
        self.supervisor = Supervisor(self._heard, self._told)

    def _heard(self, _device: str, found: Measurement) -> None:
        self.found.append(found)
        self.latest[found.channel] = found

    def _told(self, _device: str, link: Link, message: str, remedy: str) -> None:
        self.said.append((link, f"{message}. {remedy}" if remedy else message))

    @property
    def values(self) -> dict[str, float | None]:
        """The last value of each channel."""
        return {channel: found.value for channel, found in self.latest.items()}

    def start(self, name: str, memory: Memory | None = None, /, **config: Any) -> None:
        """Run a driver by its name."""
        driver = Registry().load(name)
        own = configure(driver.info, config, "test")
        self.supervisor.start(Device("d", driver(memory if memory is not None else {}), own))

    async def value(self, channel: str, value: float | None) -> None:
        """Return when a channel has a value."""
        await until(lambda: channel in self.latest and self.latest[channel].value == value)
