"""Links by GATT while the adapter or the Bluetooth service is pulled, off, full or restarted."""

from __future__ import annotations

import pytest

from pitlogger.devices.transports.ble.gatt import GattTransport
from pitlogger.devices.transports.ble.radio import Radio
from pitlogger.errors import TransportError
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from tests.devices.gatt_links import (
    SCALE,
    WEIGHT,
    loss,
    scale,
    scale_settings,
    take,
)


async def test_a_pulled_adapter_ends_the_stream_though_bleak_says_nothing(
    bluez: SimulatedBluez,
) -> None:
    bluez.world.add(scale())
    async with GattTransport(scale_settings()) as link:
        bluez.world.pull_adapter()
        assert "went away" in str(await loss(link.chunks()))


async def test_a_killed_service_ends_the_stream_though_bleak_says_nothing(
    bluez: SimulatedBluez,
) -> None:
    bluez.world.add(scale())
    async with GattTransport(scale_settings()) as link:
        await bluez.stop()
        assert "went away" in str(await loss(link.chunks()))


async def test_a_device_is_back_after_the_service_was_restarted(bluez: SimulatedBluez) -> None:
    bluez.world.add(scale())
    async with GattTransport(scale_settings()) as link:
        await bluez.stop()
        await loss(link.chunks())
    await bluez.start()
    async with GattTransport(scale_settings()) as link:
        assert bluez.world.notify(SCALE, "2a9d", WEIGHT)
        assert await take(link.chunks(), lambda c: c.data == WEIGHT)


async def test_a_device_is_back_after_the_adapter_was_plugged_in_again(
    bluez: SimulatedBluez,
) -> None:
    bluez.world.add(scale())
    async with GattTransport(scale_settings()) as link:
        bluez.world.pull_adapter()
        await loss(link.chunks())
    bluez.world.plug_adapter()
    async with GattTransport(scale_settings()):
        assert bluez.world.links


async def test_an_adapter_switched_off_says_how_to_switch_it_on(bluez: SimulatedBluez) -> None:
    bluez.world.add(scale())
    bluez.world.set_powered(False)
    with pytest.raises(TransportError, match=r"the Bluetooth adapter is off.*rfkill unblock"):
        await GattTransport(scale_settings(find_s=0.5)).__aenter__()


async def test_a_service_that_is_not_there_says_how_to_start_it(bluez: SimulatedBluez) -> None:
    await bluez.stop()
    with pytest.raises(TransportError, match="systemctl start bluetooth"):
        await GattTransport(scale_settings(find_s=0.5)).__aenter__()


async def test_more_links_than_allowed_are_refused_in_words(
    bluez: SimulatedBluez, monkeypatch: pytest.MonkeyPatch
) -> None:
    bluez.world.add(scale())
    Radio.shared().links = 5
    with pytest.raises(TransportError, match="link 6 of adapter hci0, which carries 5"):
        await GattTransport(scale_settings()).__aenter__()


async def test_an_adapter_without_a_free_slot_is_named(bluez: SimulatedBluez) -> None:
    bluez.world.add(scale())
    bluez.world.max_links = 0
    with pytest.raises(TransportError, match="no slot left"):
        await GattTransport(scale_settings()).__aenter__()
