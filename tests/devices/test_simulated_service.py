"""The simulated Bluetooth service itself: what unmodified bleak sees."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest
from bleak import BleakClient, BleakScanner
from bleak.assigned_numbers import AdvertisementDataType
from bleak.exc import BleakDBusError, BleakGATTProtocolError

from pitlogger_simulators.bluetooth.faults import RadioFaultPoint, att_error
from pitlogger_simulators.bluetooth.peripherals import Characteristic, GattService, Peripheral
from pitlogger_simulators.bluetooth.service import SimulatedBluez

ADDRESS = "02:00:00:00:00:40"


def thing() -> Peripheral:
    """One readable, one notifying characteristic."""
    readable = Characteristic("2a19", ("read", "write"), b"\x55")
    notifying = Characteristic("2a6e", ("notify",))
    services = (GattService("180f", (readable,)), GattService("181a", (notifying,)))
    return Peripheral(ADDRESS, "thing", services, service_data={"fcd2": b"\x40"})


@asynccontextmanager
async def connected(bluez: SimulatedBluez) -> AsyncIterator[BleakClient]:
    """A bleak client, connected."""
    bluez.world.add(thing())
    device = await BleakScanner.find_device_by_address(ADDRESS, timeout=3)
    assert device is not None
    async with BleakClient(device) as client:
        yield client


async def test_a_second_scan_of_one_program_is_refused(bluez: SimulatedBluez) -> None:
    async with BleakScanner():
        with pytest.raises(BleakDBusError, match="InProgress"):
            await BleakScanner().start()


async def test_a_passive_scan_hears_advertisements(bluez: SimulatedBluez) -> None:
    bluez.world.add(thing())
    heard = asyncio.Event()
    scanner = BleakScanner(
        lambda device, _advertisement: heard.set() if device.address == ADDRESS else None,
        scanning_mode="passive",
        bluez={"or_patterns": [(0, AdvertisementDataType.SERVICE_DATA_UUID16, b"\xd2\xfc")]},
    )
    async with scanner:
        await asyncio.wait_for(heard.wait(), 3)
    assert not bluez.world.monitors


async def test_a_read_refused_by_the_peripheral_is_an_att_error(bluez: SimulatedBluez) -> None:
    bluez.world.faults.add(att_error(RadioFaultPoint.READ, 0x80))
    async with connected(bluez) as client:
        with pytest.raises(BleakGATTProtocolError):
            await client.read_gatt_char("2a19")
        assert await client.read_gatt_char("2a19") == b"\x55"


async def test_a_write_reaches_the_peripheral(bluez: SimulatedBluez) -> None:
    async with connected(bluez) as client:
        await client.write_gatt_char("2a19", b"\x01\x02", response=True)
    assert bluez.world.peripherals[ADDRESS].characteristic("2a19").write == b"\x01\x02"


async def test_equal_values_are_all_delivered(bluez: SimulatedBluez) -> None:
    got: list[bytes] = []
    async with connected(bluez) as client:
        await client.start_notify("2a6e", lambda _one, value: got.append(bytes(value)))
        for _ in range(5):
            assert bluez.world.notify(ADDRESS, "2a6e", b"\x01\x00")
        await client.stop_notify("2a6e")
        assert not bluez.world.notify(ADDRESS, "2a6e", b"\x02\x00")
    assert got == [b"\x01\x00"] * 5
