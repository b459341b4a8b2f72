"""Shared by the device tests: a private bus, a simulated Bluetooth service, no task left over."""

from __future__ import annotations

import asyncio
import os
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import pytest
from bleak.backends.bluezdbus import manager as bleak_manager

from pitlogger.devices.transports.ble.radio import Radio, RadioLimits
from pitlogger.testing import PseudoPort
from pitlogger_simulators.bluetooth.bus import available, private_bus
from pitlogger_simulators.bluetooth.service import SimulatedBluez

QUICK = RadioLimits(start_s=1.0, look_s=0.05, silence_s=0.3, pause_s=0.05, pause_cap_s=0.1, links=5)


@pytest.fixture(scope="session")
def message_bus() -> Iterator[str]:
    """Run a message bus that passes for the system's, before bleak opens its first."""
    if not available():
        pytest.skip("dbus-daemon is not installed")
    with private_bus() as address:
        os.environ["DBUS_SYSTEM_BUS_ADDRESS"] = address
        yield address


@pytest.fixture
def port(tmp_path: Path) -> Iterator[PseudoPort]:
    """A port that is plugged in."""
    with PseudoPort(tmp_path / "port") as plugged:
        yield plugged


@pytest.fixture(autouse=True)
async def no_task_left() -> AsyncIterator[None]:
    """Fail a test whose loop still has tasks of ours when it ends."""
    before = asyncio.all_tasks()
    yield
    for _ in range(5):  # abandoned generators are closed by tasks of the loop
        await asyncio.sleep(0)
    here = {asyncio.current_task()}
    left = {task for task in asyncio.all_tasks() - before - here if not task.done()}
    assert not left, f"tasks left behind: {left}"


@pytest.fixture
async def bluez(
    message_bus: str, no_task_left: None, monkeypatch: pytest.MonkeyPatch
) -> AsyncIterator[SimulatedBluez]:
    """A simulated service; afterwards bleak's own bus connection of this loop is closed."""
    monkeypatch.setattr(Radio, "limits", QUICK)
    async with SimulatedBluez(message_bus) as service:
        yield service
    await close_bleak()


async def close_bleak() -> None:
    """Close the bus connection bleak keeps for this loop."""
    manager = bleak_manager._global_instances.pop(asyncio.get_running_loop(), None)
    if manager is None or manager._bus is None:
        return
    manager._bus.disconnect()
    if manager._bus_watcher_task is not None:
        await asyncio.wait({manager._bus_watcher_task})
