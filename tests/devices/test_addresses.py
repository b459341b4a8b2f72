"""Addresses that change are never written down; the device is told by name, service or bond."""

from __future__ import annotations

import asyncio

import pytest

from pitlogger.devices.drafting import draft
from pitlogger.devices.reach import heard
from pitlogger.devices.registry import Registry, configure
from pitlogger.devices.sampling import sample
from pitlogger.devices.transports.ble.settings import is_private
from pitlogger.errors import ConfigError
from pitlogger.testing import until
from pitlogger_simulators.bluetooth.peripherals import Peripheral
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from tests.devices.bench import Bench
from tests.devices.peripherals import weight_scale

PRIVATE, NEXT = "4A:00:00:00:00:01", "5B:00:00:00:00:02"
STATIC = "C1:00:00:00:00:03"
TYPED = b"\x40\x02\xca\x09"  # BTHome, 25.06 degC


@pytest.mark.parametrize(
    ("address", "kind", "private"),
    [
        (PRIVATE, "random", True),  # 01: resolvable
        ("1A:00:00:00:00:01", "random", True),  # 00: non-resolvable
        (STATIC, "random", False),  # 11: static
        (PRIVATE, "public", False),
    ],
)
def test_private_addresses_are_known_by_their_highest_bits(
    address: str, kind: str, private: bool
) -> None:
    assert is_private(address, kind) is private


async def text_of(bluez: SimulatedBluez, *devices: Peripheral) -> str:
    """Return the configuration drafted of what is in reach."""
    for device in devices:
        bluez.world.add(device)
    registry = Registry()
    async with asyncio.timeout(20):
        while len(found := await heard(0.2)) < len(devices):
            pass  # a busy machine hears them one after the other
    tried, strangers = await sample(found, registry, registry.descriptions()[0], 0.3)
    return draft("pit", tried, strangers)


async def test_no_address_that_changes_is_written_into_a_configuration(
    bluez: SimulatedBluez,
) -> None:
    named = Peripheral(PRIVATE, "tray", service_data={"fcd2": TYPED}, is_private=True)
    unnamed = Peripheral("4C:00:00:00:00:05", "", service_data={"fcd2": TYPED}, is_private=True)
    stranger = Peripheral("4D:00:00:00:00:06", "mystery", is_private=True)
    still = Peripheral(STATIC, "lid", service_data={"fcd2": TYPED})
    still.vanishes = True  # a random address, and a static one
    text = await text_of(bluez, named, unnamed, stranger, still)
    for device in (named, unnamed, stranger):
        written = [line for line in text.splitlines() if device.address in line and "=" in line]
        assert not written
    assert 'name = "tray"' in text
    assert 'service = "fcd2"' in text
    assert f'address = "{STATIC}"' in text
    assert "#    mystery" in text


async def test_a_device_told_by_its_service_is_followed_to_its_next_address(
    bluez: SimulatedBluez,
) -> None:
    scale = weight_scale(PRIVATE, name="")
    scale.is_private = True
    scale.service_data = {"181d": b""}
    bluez.world.add(scale)
    bench = Bench()
    async with bench.supervisor:
        bench.start("weight-scale", service="181d")
        await until(lambda: scale.is_linked)
        bluez.world.rotate(PRIVATE, NEXT)
        await until(lambda: bluez.world.path(NEXT) in bluez.world.links, 5)


async def test_an_encrypted_beacon_asks_for_its_key(bluez: SimulatedBluez) -> None:
    beacon = Peripheral(
        STATIC, "lid", service_data={"fcd2": bytes.fromhex("41a47266c95f730011223378237214")}
    )
    text = await text_of(bluez, beacon)
    assert "encrypted: give the device's key" in text
    assert '# key = "..."' in text
    bench = Bench()
    async with bench.supervisor:
        bench.start("bthome", address=STATIC)
        await asyncio.sleep(0)
        await until(lambda: bool(bench.supervisor.refused("d")))
        assert "Write key and address" in bench.supervisor.refused("d")[0].remedy


def test_a_device_needs_something_that_tells_it() -> None:
    with pytest.raises(ConfigError, match="its address, its name or its service"):
        configure(Registry().load("bthome").info, {}, "test")
