"""Shared by the simulator tests: a play ready to begin, and a Bluetooth service to play it on."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Iterator

import pytest
from bleak.backends.bluezdbus import manager as bleak_manager

from pitlogger_simulators.bluetooth.bus import available, private_bus
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from pitlogger_simulators.play import Play, stage
from pitlogger_simulators.scenarios.scenario import load

MakePlay = Callable[..., Play]


@pytest.fixture
def make_play() -> MakePlay:
    """Make the stage of the default scenario with some values changed and faults added."""

    def make(*changes: str) -> Play:
        play = stage(load("harvest-supper", changes), lambda channel: None)
        play.advance_to(play.now_ms + 1000)
        return play

    return make


@pytest.fixture
def message_bus(monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """Run a message bus that passes for the system's."""
    if not available():
        pytest.skip("dbus-daemon is not installed")
    with private_bus() as address:
        monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", address)
        yield address


@pytest.fixture
async def bluez(message_bus: str) -> AsyncIterator[SimulatedBluez]:
    """A simulated service; afterwards bleak's own bus connection of this loop is closed."""
    async with SimulatedBluez(message_bus) as service:
        yield service
    manager = bleak_manager._global_instances.pop(asyncio.get_running_loop(), None)
    if manager is not None and manager._bus is not None:
        manager._bus.disconnect()
        if manager._bus_watcher_task is not None:
            await asyncio.wait({manager._bus_watcher_task})
