"""A GATT link through unmodified bleak to the simulated Bluetooth service."""

from __future__ import annotations

import asyncio

import pytest

from pitlogger.devices.contract import Chunk
from pitlogger.devices.transports.ble.gatt import GattTransport
from pitlogger.devices.transports.ble.radio import Radio
from pitlogger.errors import TransportError
from pitlogger.testing import until
from pitlogger_simulators.bluetooth.faults import (
    RadioFault,
    RadioFaultKind,
    RadioFaultPoint,
    att_error,
    in_progress,
)
from pitlogger_simulators.bluetooth.peripherals import Characteristic, GattService
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from tests.devices.gatt_links import (
    PROBES,
    SCALE,
    WEIGHT,
    loss,
    probe_settings,
    probes,
    scale,
    scale_settings,
    take,
)


async def test_an_indication_arrives_under_its_uuid(bluez: SimulatedBluez) -> None:
    bluez.world.add(scale())
    async with GattTransport(scale_settings()) as link:
        assert bluez.world.notify(SCALE, "2a9d", WEIGHT)
        chunk = await take(link.chunks(), lambda c: c.source == "2a9d")
    assert chunk.data == WEIGHT


async def test_a_battery_that_only_reads_is_polled(bluez: SimulatedBluez) -> None:
    bluez.world.add(scale())
    async with GattTransport(scale_settings()) as link:
        chunk = await take(link.chunks(), lambda c: c.source == "2a19")
    assert chunk.data == b"\x55"


async def test_probes_of_one_uuid_are_named_by_what_tells_them_apart(
    bluez: SimulatedBluez,
) -> None:
    bluez.world.add(probes())
    async with GattTransport(probe_settings()) as link:
        for ordinal in range(1, 5):
            bluez.world.notify(PROBES, f"2a6e#{ordinal}", bytes((ordinal, 0)))
        seen: dict[str, bytes] = {}
        stream = link.chunks()
        while len(seen) < 5:
            chunk = await take(stream, lambda _: True)
            seen[chunk.source] = chunk.data
    assert seen == {
        "2a6e/point": b"\x01\x00",
        "2a6e/probe-2": b"\x02\x00",
        "2a6e/application-1": b"\x03\x00",
        "2a6e/handle-000b": b"\x04\x00",
        "2a6f": b"\xbf\x13",
    }


async def test_a_lost_link_ends_the_stream_with_a_remedy(bluez: SimulatedBluez) -> None:
    bluez.world.add(scale())
    async with GattTransport(scale_settings()) as link:
        bluez.world.drop(SCALE)
        error = await loss(link.chunks())
    assert "lost" in str(error)
    assert error.remedy


async def test_a_link_is_made_again_after_a_loss(bluez: SimulatedBluez) -> None:
    bluez.world.add(scale())
    async with GattTransport(scale_settings()) as link:
        bluez.world.drop(SCALE)
        await loss(link.chunks())
    async with GattTransport(scale_settings()) as link:
        assert bluez.world.notify(SCALE, "2a9d", WEIGHT)
        assert await take(link.chunks(), lambda c: c.data == WEIGHT)


async def test_a_link_is_given_back_when_it_is_closed(bluez: SimulatedBluez) -> None:
    bluez.world.add(scale())
    async with GattTransport(scale_settings()):
        assert bluez.world.links
    assert not bluez.world.links
    assert Radio.shared().links == 0


async def test_connects_are_made_one_at_a_time(bluez: SimulatedBluez) -> None:
    bluez.world.add(scale())
    bluez.world.add(probes())
    links = (GattTransport(scale_settings()), GattTransport(probe_settings()))
    await asyncio.gather(*(link.__aenter__() for link in links))
    for link in links:
        await link.__aexit__()
    assert bluez.calls.most_connecting == 1


async def test_devices_are_connected_while_scanning(bluez: SimulatedBluez) -> None:
    fleeting = scale()
    fleeting.vanishes = True
    bluez.world.add(fleeting)
    async with GattTransport(scale_settings()) as link:
        assert bluez.world.scanners
        assert bluez.world.notify(SCALE, "2a9d", WEIGHT)
        assert await take(link.chunks(), lambda c: c.data == WEIGHT)


async def test_one_scanner_serves_all_links(bluez: SimulatedBluez) -> None:
    bluez.world.add(scale())
    bluez.world.add(probes())
    async with GattTransport(scale_settings()), GattTransport(probe_settings()):
        pass
    assert [step for step, _ in bluez.calls.seen].count(RadioFaultPoint.SCAN_START) == 1


async def test_a_device_out_of_reach_is_not_found_in_time(bluez: SimulatedBluez) -> None:
    with pytest.raises(TransportError, match=r"was not heard for 0\.2 s"):
        await GattTransport(scale_settings(find_s=0.2)).__aenter__()


async def test_a_device_is_found_by_its_name_when_its_address_changed(
    bluez: SimulatedBluez,
) -> None:
    bluez.world.add(scale())
    async with GattTransport(scale_settings(address="", name="scale")):
        assert bluez.world.links


@pytest.mark.parametrize(
    "step", [RadioFaultPoint.CONNECT, RadioFaultPoint.DISCOVER, RadioFaultPoint.SUBSCRIBE]
)
@pytest.mark.parametrize("kind", [RadioFaultKind.DROP, RadioFaultKind.HANG])
async def test_trouble_while_opening_is_a_transport_error(
    bluez: SimulatedBluez, step: RadioFaultPoint, kind: RadioFaultKind
) -> None:
    bluez.world.add(scale())
    bluez.world.faults.add(RadioFault(step, kind, times=None))
    with pytest.raises(TransportError):
        await GattTransport(scale_settings()).__aenter__()
    assert Radio.shared().links == 0
    await until(lambda: not bluez.world.links)  # an aborted link falls a moment after the call


async def test_an_abort_by_the_local_side_is_tried_again_at_once(bluez: SimulatedBluez) -> None:
    bluez.world.add(scale())
    bluez.world.faults.add(RadioFault(RadioFaultPoint.CONNECT, RadioFaultKind.DROP))
    async with GattTransport(scale_settings()):
        assert bluez.world.links


async def test_a_busy_adapter_is_named(bluez: SimulatedBluez) -> None:
    bluez.world.add(scale())
    bluez.world.faults.add(in_progress(RadioFaultPoint.CONNECT))
    with pytest.raises(TransportError, match="the Bluetooth adapter is busy"):
        await GattTransport(scale_settings()).__aenter__()


async def test_a_characteristic_missing_after_an_aborted_connect_is_found_on_the_second(
    bluez: SimulatedBluez,
) -> None:
    bluez.world.add(scale())
    peripheral = bluez.world.peripherals[SCALE]
    peripheral.services = peripheral.services[::-1]
    bluez.world.faults.add(RadioFault(RadioFaultPoint.DISCOVER, RadioFaultKind.INCOMPLETE))
    async with GattTransport(scale_settings()):
        assert bluez.world.subscribed(SCALE, "2a9d")


async def test_stale_attributes_after_new_firmware_are_forgotten(bluez: SimulatedBluez) -> None:
    peripheral = scale()
    current = peripheral.services
    peripheral.services = current[1:]
    bluez.world.add(peripheral)
    with pytest.raises(TransportError, match="none of the characteristics"):
        await GattTransport(scale_settings()).__aenter__()
    bluez.world.cache[bluez.world.path(SCALE)] = current[1:]
    peripheral.services = current
    async with GattTransport(scale_settings()):
        assert bluez.world.subscribed(SCALE, "2a9d")


async def test_the_wrong_device_is_named_with_what_it_has(bluez: SimulatedBluez) -> None:
    bluez.world.add(probes())
    with pytest.raises(TransportError, match=r"its services: 181a"):
        await GattTransport(probe_settings(needed=("2a9d",))).__aenter__()


async def test_a_refused_subscription_falls_back_to_polling(bluez: SimulatedBluez) -> None:
    bluez.world.add(probes())
    bluez.world.faults.add(att_error(RadioFaultPoint.SUBSCRIBE, 0x80, times=None))
    async with GattTransport(probe_settings(poll_s=0.02)) as link:
        stream = link.chunks()
        for _ in range(2):
            await take(stream, lambda c: c.source == "2a6e/point")


async def test_a_silent_source_is_read_to_tell_calm_from_dead(bluez: SimulatedBluez) -> None:
    bluez.world.add(probes())
    async with GattTransport(probe_settings(check_s=0.05)) as link:
        assert await take(link.chunks(), lambda c: c.source == "2a6e/point")


async def test_a_read_that_also_comes_as_a_notification_counts_once(
    bluez: SimulatedBluez,
) -> None:
    bluez.world.add(probes())
    async with GattTransport(probe_settings(check_s=0.1)) as link:
        stream = link.chunks()
        await take(stream, lambda c: c.source == "2a6e/point")
        bluez.world.notify(PROBES, "2a6e#1", b"\x01\x01")
        assert (await take(stream, lambda c: c.source == "2a6e/point")).data == b"\x01\x01"


async def test_a_read_that_fails_ends_the_stream(bluez: SimulatedBluez) -> None:
    bluez.world.add(probes())
    bluez.world.faults.add(RadioFault(RadioFaultPoint.READ, RadioFaultKind.HANG, times=None))
    async with GattTransport(probe_settings(poll_s=0.02)) as link:
        assert "no answer in time" in str(await loss(link.chunks()))


async def test_a_device_left_connected_by_a_crash_is_adopted(bluez: SimulatedBluez) -> None:
    bluez.world.add(scale())
    async with Radio.shared() as radio:
        await radio.find(lambda device, _: device.address == SCALE, 1.0, "scale")
        path = bluez.world.path(SCALE)
        bluez.world.link_up(path)
        bluez.world.resolve(path)
        async with GattTransport(scale_settings()) as link:
            assert bluez.world.notify(SCALE, "2a9d", WEIGHT)
            assert await take(link.chunks(), lambda c: c.data == WEIGHT)


async def test_a_battery_the_service_claims_for_itself_is_asked_of_the_service(
    bluez: SimulatedBluez,
) -> None:
    peripheral = scale()
    peripheral.services = peripheral.services[:1]
    peripheral.claimed_battery = 64
    bluez.world.add(peripheral)
    async with GattTransport(scale_settings()) as link:
        assert await take(link.chunks(), lambda c: c == Chunk("2a19", b"\x40"))


async def test_a_command_is_written_where_the_settings_say(bluez: SimulatedBluez) -> None:
    peripheral = scale()
    taker = Characteristic("fff2", ("write",))
    peripheral.services = (*peripheral.services, GattService("fff0", (taker,)))
    bluez.world.add(peripheral)
    async with GattTransport(scale_settings(written="fff2")) as link:
        await link.send(b"\x01")
    assert taker.write == b"\x01"


async def test_a_device_without_commands_refuses_them(bluez: SimulatedBluez) -> None:
    bluez.world.add(scale())
    async with GattTransport(scale_settings()) as link:
        with pytest.raises(TransportError, match="takes no commands"):
            await link.send(b"\x01")


async def test_a_device_that_comes_into_reach_is_noticed(bluez: SimulatedBluez) -> None:
    transport = GattTransport(scale_settings(gone_s=0.05))
    waiting = asyncio.ensure_future(transport.appears())
    with pytest.raises(TransportError):
        await Radio.shared().find(lambda _device, _advertisement: False, 0.2, "nothing")
    bluez.world.add(scale())
    await asyncio.wait_for(waiting, 3)


async def test_a_device_lost_with_its_adapter_is_back_as_soon_as_it_is_heard(
    bluez: SimulatedBluez,
) -> None:
    bluez.world.add(scale())
    transport = GattTransport(scale_settings(gone_s=60.0))
    async with transport:
        bluez.world.pull_adapter()
        with pytest.raises(TransportError):
            await anext(transport.chunks())
    bluez.world.plug_adapter()  # before anybody waits for it: the device is heard all the time
    async with asyncio.timeout(3):
        await transport.appears()
