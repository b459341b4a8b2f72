"""All devices of a node, a task each: one device's trouble never touches another."""

from __future__ import annotations

import asyncio
import random
from collections.abc import Callable

from pitlogger.clock import Clock, SystemClock
from pitlogger.devices.backoff import Backoff, Pace
from pitlogger.devices.contract import Chunk
from pitlogger.devices.runner import (
    Device,
    DeviceStanding,
    Emit,
    Link,
    Refused,
    Runner,
    RunnerLimits,
    Sleep,
    Status,
)
from pitlogger.devices.tasks import end
from pitlogger.errors import RefusedError, unknown

__all__ = ["Device", "Link", "Refused", "Supervisor"]


class Supervisor:
    """Runs devices until it is left.

    Args:
        emit: Called with the device id and each measurement.
        status: Called with the device id, up or lost, a message and a remedy.
        clock: Real time, even where the engine's runs faster: devices know no other.
        sleep: Waits between attempts.
        chance: Spreads attempts; 0 to 1.
    """

    def __init__(
        self,
        emit: Emit,
        status: Status,
        *,
        clock: Clock | None = None,
        sleep: Sleep = asyncio.sleep,
        chance: Callable[[], float] = random.random,
        pace: Pace | None = None,
        limits: RunnerLimits | None = None,
    ) -> None:
        self._emit = emit
        self._status = status
        self._clock = clock or SystemClock()
        self._sleep = sleep
        self._chance = chance
        self._pace = pace or Pace()
        self._limits = limits or RunnerLimits()
        self._runners: dict[str, Runner] = {}
        self._tasks: dict[str, asyncio.Task[None]] = {}

    async def __aenter__(self) -> Supervisor:
        return self

    async def __aexit__(self, *exc: object) -> None:
        await asyncio.gather(*(self.stop(device_id) for device_id in list(self._tasks)))

    def start(self, device: Device) -> None:
        """Run a device from now on.

        Raises:
            RefusedError: A device of that id runs already.
        """
        if device.id in self._tasks:
            raise RefusedError(f"device '{device.id}' runs already")
        runner = Runner(
            device,
            self._emit,
            self._status,
            clock=self._clock,
            backoff=Backoff(self._pace.of(device.driver.info.transport), self._chance),
            sleep=self._sleep,
            limits=self._limits,
        )
        self._runners[device.id] = runner
        loop = asyncio.get_running_loop()
        self._tasks[device.id] = loop.create_task(runner.run(), name=f"device {device.id}")

    async def stop(self, device_id: str) -> None:
        """Close a device and forget it."""
        self._runner(device_id)
        task = self._tasks.pop(device_id)
        del self._runners[device_id]
        await end(task)

    async def restart(self, device_id: str, between: Callable[[], None]) -> None:
        """Close a device, call ``between``, and run it again.

        Raises:
            RefusedError: No such device.
        """
        device = self._runner(device_id).device
        await self.stop(device_id)
        between()
        self.start(device)

    async def command(self, device_id: str, name: str) -> None:
        """Send a command such as ``tare``.

        Raises:
            RefusedError: No such device or command.
            TransportError: The device is not connected.
        """
        runner = self._runner(device_id)
        await runner.send(runner.device.driver.command(name))

    def tap(self, device_id: str, take: Callable[[Chunk], None]) -> Callable[[], None]:
        """Call ``take`` with every chunk a device sends; return what ends it."""
        taps = self._runner(device_id).taps
        taps.append(take)
        return lambda: taps.remove(take)

    def refused(self, device_id: str) -> tuple[Refused, ...]:
        """Return the last bytes of a device that were no reading."""
        return tuple(self._runner(device_id).refused)

    async def facts(self, device_id: str) -> dict[str, str]:
        """Return what a connected device says about itself: maker, model, its clock."""
        return await self._runner(device_id).facts()

    def commands(self, device_id: str) -> tuple[str, ...]:
        """Return the names of what can be sent to a device."""
        return self._runner(device_id).device.driver.info.commands

    def links(self) -> dict[str, Link | None]:
        """Return whether each device can be read; ``None`` before its first attempt ended."""
        return {device_id: runner.standing.link for device_id, runner in self._runners.items()}

    def standing(self, device_id: str) -> DeviceStanding:
        """Return how a device fares, with what to do where it is lost."""
        return self._runner(device_id).standing

    def _runner(self, device_id: str) -> Runner:
        if device_id not in self._runners:
            raise RefusedError(unknown("device", device_id, self._runners))
        return self._runners[device_id]
