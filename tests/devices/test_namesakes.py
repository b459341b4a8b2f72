"""Two devices of one name are told from one whose address changed, and never read by turns."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator

import pytest

from pitlogger.devices.contract import Chunk
from pitlogger.devices.transports.ble.advertisements import AdvertisementTransport
from pitlogger.devices.transports.ble.gatt import GattTransport
from pitlogger.devices.transports.ble.namesakes import RECENT_S, Namesakes
from pitlogger.devices.transports.ble.settings import AdvertisementSettings, GattSettings
from pitlogger.errors import TransportError
from pitlogger.testing import until
from pitlogger_simulators.bluetooth.peripherals import Peripheral
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from tests.devices.peripherals import weight_scale

A, B = "02:00:00:00:00:0A", "02:00:00:00:00:0B"
BOTH = f"two Bluetooth devices are called 'twin': {A} and {B}"


def spoken(*words: tuple[str, float]) -> Namesakes:
    """Return who speaks after some words, with their times."""
    names = Namesakes("twin")
    for address, at_s in words:
        names.hear(address, at_s)
    return names


def test_one_that_changes_its_address_is_one() -> None:
    names = spoken((A, 0), (A, 10), (B, 11), (B, 21))
    assert names.trouble(21) is None


def test_two_that_speak_by_turns_are_two() -> None:
    trouble = spoken((A, 0), (B, 1), (A, 2)).trouble(2)
    assert trouble is not None
    assert trouble.message == BOTH
    assert f'address = "{A}"' in trouble.remedy


def test_one_that_left_is_forgotten() -> None:
    names = spoken((A, 0), (B, 1), (A, 2))
    names.hear(B, 2 + RECENT_S)
    assert names.trouble(3 + RECENT_S) is None


async def all_of(stream: AsyncIterator[Chunk]) -> None:
    """Read until the stream fails."""
    async for _ in stream:
        pass


async def test_advertisements_of_two_devices_are_not_mixed(bluez: SimulatedBluez) -> None:
    twins = [Peripheral(a, "twin", service_data={"fcd2": b"\x40\x01\x55"}) for a in (A, B)]
    for twin in twins:
        bluez.world.add(twin)
    settings = AdvertisementSettings(name="twin", service="fcd2")
    async with AdvertisementTransport(settings) as transport, asyncio.timeout(5):
        reading = asyncio.create_task(all_of(transport.chunks()))
        await until(lambda: bluez.world.scanning)
        for twin in (*twins, *twins):
            bluez.world.hear(twin)
        with pytest.raises(TransportError, match="two Bluetooth devices are called 'twin'"):
            await reading


async def test_a_link_ends_when_a_second_device_of_the_name_speaks(bluez: SimulatedBluez) -> None:
    bluez.world.add(weight_scale(A, "twin"))
    settings = GattSettings(name="twin", needed=("2a9d",))
    async with GattTransport(settings) as transport, asyncio.timeout(5):
        reading = asyncio.create_task(all_of(transport.chunks()))
        other = weight_scale(B, "twin")
        bluez.world.add(other)
        bluez.world.hear(other)
        bluez.world.hear(other)
        with pytest.raises(TransportError, match="two Bluetooth devices are called 'twin'"):
            await reading
    with pytest.raises(TransportError, match="two Bluetooth devices"):
        await GattTransport(settings).__aenter__()
