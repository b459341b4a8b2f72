"""The shared scanner: one for all, started anew when it falls silent."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator, AsyncIterator

import pytest
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData

from pitlogger.devices.contract import Chunk
from pitlogger.devices.transports.ble.advertisements import SIGNAL, AdvertisementTransport
from pitlogger.devices.transports.ble.radio import Radio
from pitlogger.devices.transports.ble.settings import AdvertisementSettings, full_uuid
from pitlogger.errors import ConfigError, TransportError
from pitlogger.testing import until
from pitlogger_simulators.bluetooth.faults import (
    RadioFault,
    RadioFaultKind,
    RadioFaultPoint,
    in_progress,
)
from pitlogger_simulators.bluetooth.peripherals import Peripheral
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from pitlogger_simulators.bluetooth.world import Medicine

ADDRESS = "02:00:00:00:00:30"
HEARD = b"\x40\x01\x55"
SETTINGS = AdvertisementSettings(address=ADDRESS, service="fcd2", signal_s=0.0)


def sender() -> Peripheral:
    """A device that only advertises."""
    return Peripheral(ADDRESS, "sender", rssi=-48, service_data={"fcd2": HEARD})


async def next_of(stream: AsyncIterator[Chunk], source: str) -> bytes:
    """Return the next bytes of a source."""
    async with asyncio.timeout(3):
        async for chunk in stream:
            if chunk.source == source:
                return chunk.data
    raise AssertionError("the stream ended")


async def aclose(stream: AsyncIterator[Chunk]) -> None:
    """End a stream that is not read to its end."""
    assert isinstance(stream, AsyncGenerator)
    await stream.aclose()


async def scan_starts(bluez: SimulatedBluez, count: int) -> None:
    """Return when scanning was asked for so many times."""
    await until(
        lambda: [step for step, _ in bluez.calls.seen].count(RadioFaultPoint.SCAN_START) >= count
    )


async def test_service_data_arrive(bluez: SimulatedBluez) -> None:
    bluez.world.add(sender())
    async with AdvertisementTransport(SETTINGS) as transport:
        assert await next_of(transport.chunks(), "") == HEARD


async def test_signal_strength_arrives_beside_them(bluez: SimulatedBluez) -> None:
    bluez.world.add(sender())
    async with AdvertisementTransport(SETTINGS) as transport:
        raw = await next_of(transport.chunks(), SIGNAL)
    assert int.from_bytes(raw, signed=True) in (-48, -49)


async def test_a_signal_strength_that_is_not_known_is_left_out(bluez: SimulatedBluez) -> None:
    async with AdvertisementTransport(SETTINGS) as transport, asyncio.timeout(3):
        for dbm in (-127, -50):  # bleak's word where the service gives none, and a real one
            said = AdvertisementData("sender", {}, {full_uuid("fcd2"): HEARD}, [], None, dbm, ())
            transport._on_heard(Radio.shared(), BLEDevice(ADDRESS, "sender", {}), said)
        stream = transport.chunks()
        assert [(await anext(stream)).source for _ in range(3)] == ["", "", SIGNAL]
        await aclose(stream)


async def test_manufacturer_data_arrive_by_company_code(bluez: SimulatedBluez) -> None:
    bluez.world.add(Peripheral(ADDRESS, "sender", manufacturer_data={0xFFFF: b"\x01\x02"}))
    settings = AdvertisementSettings(name="sender", maker=0xFFFF)
    async with AdvertisementTransport(settings) as transport:
        assert await next_of(transport.chunks(), "") == b"\x01\x02"


async def test_new_data_of_a_known_device_arrive(bluez: SimulatedBluez) -> None:
    peripheral = sender()
    bluez.world.add(peripheral)
    async with AdvertisementTransport(SETTINGS) as transport:
        stream = transport.chunks()
        assert await next_of(stream, "") == HEARD
        peripheral.service_data["fcd2"] = b"\x40\x01\x54"
        bluez.world.hear(peripheral)
        while await next_of(stream, "") == HEARD:
            pass


async def test_a_device_without_address_and_name_is_refused() -> None:
    with pytest.raises(ConfigError, match="pitlogger devices scan"):
        AdvertisementSettings(service="fcd2")


async def test_scanning_that_is_busy_is_tried_again(bluez: SimulatedBluez) -> None:
    bluez.world.faults.add(in_progress(RadioFaultPoint.SCAN_START, times=2))
    bluez.world.add(sender())
    async with AdvertisementTransport(SETTINGS) as transport:
        assert await next_of(transport.chunks(), "") == HEARD


async def test_a_scan_start_that_hangs_is_given_up_and_tried_again(bluez: SimulatedBluez) -> None:
    bluez.world.faults.add(RadioFault(RadioFaultPoint.SCAN_START, RadioFaultKind.HANG))
    bluez.world.add(sender())
    async with AdvertisementTransport(SETTINGS) as transport:
        assert await next_of(transport.chunks(), "") == HEARD


async def test_a_scan_that_was_given_up_and_came_about_is_cleared_away(
    bluez: SimulatedBluez,
) -> None:
    bluez.world.add(sender())
    async with AdvertisementTransport(SETTINGS) as transport:
        await next_of(transport.chunks(), "")
        (ours,) = bluez.world.scanners
    await until(lambda: not bluez.world.scanners)
    bluez.world.scanners.add(ours)  # to the service we scan; bleak knows nothing of it
    async with Radio.shared() as radio:
        await until(lambda: "busy" in str(radio.fault))
        await until(lambda: radio.fault is None)
        async with AdvertisementTransport(SETTINGS) as transport:
            assert await next_of(transport.chunks(), "") == HEARD


async def test_a_stop_that_is_refused_does_not_break_the_next_scan(bluez: SimulatedBluez) -> None:
    bluez.world.add(sender())
    bluez.world.faults.add(in_progress(RadioFaultPoint.SCAN_STOP))
    async with AdvertisementTransport(SETTINGS) as transport:
        assert await next_of(transport.chunks(), "") == HEARD
    async with AdvertisementTransport(SETTINGS) as transport:
        assert await next_of(transport.chunks(), "") == HEARD


@pytest.mark.parametrize("medicine", [Medicine.RESTART_SCAN, Medicine.POWER_CYCLE])
async def test_an_adapter_that_went_deaf_is_healed(
    bluez: SimulatedBluez, medicine: Medicine
) -> None:
    bluez.world.add(sender())
    async with AdvertisementTransport(SETTINGS) as transport:
        stream = transport.chunks()
        await next_of(stream, "")
        bluez.world.deaf = medicine
        await scan_starts(bluez, 2)
        await until(lambda: bluez.world.deaf is None)


async def test_an_adapter_only_a_service_restart_heals_tells_the_person(
    bluez: SimulatedBluez,
) -> None:
    bluez.world.add(sender())
    bluez.world.deaf = Medicine.RESTART_SERVICE
    async with Radio.shared() as radio:
        end = radio.listen(lambda _device, _advertisement: None)
        await until(lambda: "systemctl restart" in str(radio.fault))
        end()


async def test_a_link_that_works_is_not_cut_to_heal_the_scan(bluez: SimulatedBluez) -> None:
    bluez.world.deaf = Medicine.POWER_CYCLE
    radio = Radio.shared()
    radio.links = 1
    async with radio:
        end = radio.listen(lambda _device, _advertisement: None)
        await scan_starts(bluez, 3)
        end()
    radio.links = 0
    assert bluez.world.deaf is Medicine.POWER_CYCLE


async def test_an_adapter_that_goes_ends_the_stream(bluez: SimulatedBluez) -> None:
    bluez.world.add(sender())
    async with AdvertisementTransport(SETTINGS) as transport:
        stream = transport.chunks()
        await next_of(stream, "")
        bluez.world.set_powered(False)
        with pytest.raises(TransportError, match="adapter is off"):
            await next_of(stream, "no such source")


async def test_a_radio_taken_up_while_it_is_laid_down_still_notices_the_service_go(
    bluez: SimulatedBluez,
) -> None:
    bluez.world.add(sender())
    first = AdvertisementTransport(SETTINGS)
    await first.__aenter__()
    await next_of(first.chunks(), "")
    laying_down = asyncio.create_task(first.__aexit__(None, None, None))
    while Radio.shared()._task is not None:  # noqa: ASYNC110 - until it has lost its last user
        await asyncio.sleep(0)
    async with AdvertisementTransport(SETTINGS) as second:
        await next_of(second.chunks(), "")
        await laying_down
        await bluez.stop()
        with pytest.raises(TransportError, match="went away"):
            await next_of(second.chunks(), "nothing of this kind comes")


async def test_scanning_ends_with_its_last_user(bluez: SimulatedBluez) -> None:
    async with Radio.shared() as radio, radio:
        await scan_starts(bluez, 1)
    assert not bluez.world.scanners
