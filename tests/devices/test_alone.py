"""Each fails alone: a value, a device, an adapter; the others go on as if nothing were."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, suppress
from random import Random

import pytest

from pitlogger.devices.contract import Chunk
from pitlogger.devices.registry import Registry, configure
from pitlogger.devices.supervisor import Device, Link, Supervisor
from pitlogger.devices.transports.ble.advertisements import AdvertisementTransport
from pitlogger.devices.transports.ble.gatt import GattTransport
from pitlogger.devices.transports.ble.radio import Radio
from pitlogger.devices.transports.ble.settings import AdvertisementSettings, GattSettings, GattWrite
from pitlogger.errors import TransportError
from pitlogger.model.readings import Quality
from pitlogger.testing import until
from pitlogger_simulators.bluetooth.faults import (
    RadioFault,
    RadioFaultKind,
    RadioFaultPoint,
    att_error,
)
from pitlogger_simulators.bluetooth.peripherals import Characteristic, GattService, Peripheral
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from pitlogger_simulators.bluetooth.world import World
from tests.devices.bench import Bench
from tests.devices.peripherals import probe_hub, weight_scale

A, B, C = (f"02:00:00:00:00:{n}0" for n in (1, 2, 3))
PROBES = ("left", "right", "flat", "point")


def settings(address: str, **changes: object) -> GattSettings:
    """A device with little patience."""
    given: dict[str, object] = {
        "address": address, "needed": ("2a6e",), "find_s": 2.0, "connect_s": 2.0, "close_s": 0.3,
        "poll_s": 0.03, "check_s": 0.05,
    }  # fmt: skip
    return GattSettings(**(given | changes))  # type: ignore[arg-type]


def read_only_hub() -> Peripheral:
    """Four probes that are polled."""
    hub = probe_hub(A, PROBES)
    for one in hub.characteristics():
        one.flags, one.value = ("read",), b"\x01\x00"
    return hub


async def collect(stream: AsyncIterator[Chunk], seconds: float) -> list[Chunk]:
    """Return what comes in a while."""
    found: list[Chunk] = []
    with suppress(TimeoutError):
        async with asyncio.timeout(seconds):
            while True:
                found.append(await anext(stream))
    return found


# A value


@pytest.mark.parametrize("chance", [1.0, 0.54])
@pytest.mark.parametrize("code", [0x01, 0x0E, 0x11, 0x80, 0x9F])
async def test_a_probe_that_answers_an_error_leaves_its_neighbours_alone(
    bluez: SimulatedBluez, code: int, chance: float
) -> None:
    bluez.world.add(read_only_hub())
    bluez.world.faults.add(
        att_error(RadioFaultPoint.READ, code, A, times=None, characteristic="2a6e#3", chance=chance)
    )
    async with GattTransport(settings(A)) as link:
        found = await collect(link.chunks(), 0.6)
        assert bluez.world.links  # it never fell
    by_source = {name: [c for c in found if c.source == f"2a6e/{name}"] for name in PROBES}
    for name in ("left", "right", "point"):
        assert len(by_source[name]) > 3
        assert all(chunk.fault is None for chunk in by_source[name])
    faults = [chunk.fault for chunk in by_source["flat"] if chunk.fault is not None]
    assert faults
    assert "Bleak" not in str(faults[0])
    assert faults[0].remedy


async def test_a_probe_that_refuses_to_be_subscribed_is_tried_again_alone(
    bluez: SimulatedBluez,
) -> None:
    hub = probe_hub(A, PROBES)
    for one in hub.characteristics():
        one.flags = ("notify",)
    bluez.world.add(hub)
    bluez.world.faults.add(
        att_error(RadioFaultPoint.SUBSCRIBE, 0x80, A, times=2, characteristic="2a6e#2")
    )
    async with GattTransport(settings(A)) as link:
        await until(lambda: bluez.world.subscribed(A, "2a6e#2"))
        bluez.world.notify(A, "2a6e#2", b"\x02\x00")
        found = await collect(link.chunks(), 0.3)
    assert [c.fault is None for c in found if c.source == "2a6e/right"] == [False, False, True]


async def test_a_probe_that_hangs_leaves_its_neighbours_alone(bluez: SimulatedBluez) -> None:
    bluez.world.add(read_only_hub())
    bluez.world.faults.add(
        RadioFault(
            RadioFaultPoint.READ, RadioFaultKind.HANG, A, times=None, characteristic="2a6e#1"
        )
    )
    async with GattTransport(settings(A, connect_s=0.2)) as link:
        found = await collect(link.chunks(), 0.8)
    assert sum(chunk.source == "2a6e/right" for chunk in found) > 5
    assert any(chunk.source == "2a6e/left" and chunk.fault is not None for chunk in found)


async def test_the_link_falls_when_no_probe_can_be_read_any_more(bluez: SimulatedBluez) -> None:
    bluez.world.add(probe_hub(A, PROBES))
    async with GattTransport(settings(A)) as link:
        bluez.world.faults.add(att_error(RadioFaultPoint.READ, 0x0E, A, times=None))
        with pytest.raises(TransportError, match="it failed for a reason it does not tell"):
            await asyncio.wait_for(_to_the_end(link), 3)


async def _to_the_end(link: GattTransport) -> None:
    async for _chunk in link.chunks():
        pass


async def test_a_dead_probe_is_a_channel_in_fault_with_words_beside_live_ones(
    bluez: SimulatedBluez,
) -> None:
    bluez.world.add(probe_hub(A, PROBES))
    bluez.world.faults.add(
        att_error(RadioFaultPoint.READ, 0x80, A, times=None, characteristic="2a6e#4")
    )
    bench = Bench()
    async with bench.supervisor:
        bench.start("environmental-sensing", address=A, poll_s=0.05, check_s=0.05)
        await until(lambda: bluez.world.subscribed(A, "2a6e#4"))
        await until(lambda: bench.latest.get("temperature/point") is not None)
        bluez.world.notify(A, "2a6e#1", b"\x01\x00")
        await bench.value("temperature/left", 0.01)
        dead = bench.latest.get("temperature/point")
        assert dead is not None
        assert (dead.value, dead.quality) == (None, Quality.FAULT)
        standing = bench.supervisor.standing("d")
        assert standing.link is Link.UP
        assert "2a6e/point: it reports an error of its own (0x80)" in standing.message
        bluez.world.faults.clear()
        await until(lambda: bench.supervisor.standing("d").message == "connected")


async def test_a_battery_that_cannot_be_read_is_no_trouble(bluez: SimulatedBluez) -> None:
    bluez.world.add(probe_hub(A, PROBES))
    bluez.world.faults.add(
        att_error(RadioFaultPoint.READ, 0x05, A, times=None, characteristic="2a19#1")
    )
    async with GattTransport(settings(A)) as link:
        found = await collect(link.chunks(), 0.3)
    assert found
    assert all(chunk.source != "2a19" for chunk in found)


async def test_a_value_that_needs_a_bond_says_how_to_pair(bluez: SimulatedBluez) -> None:
    value = Characteristic("2a6e", ("read", "notify"), b"\0\0", needs_bond=True)
    bluez.world.add(Peripheral(A, "probe", (GattService("181a", (value,)),)))
    bench = Bench()
    async with bench.supervisor:
        bench.start("environmental-sensing", address=A, poll_s=0.02)
        await until(lambda: any("paired" in said for _, said in bench.said))
        await until(lambda: bench.said[-1][0] is Link.LOST)
    _, said = bench.said[-1]
    assert "answers only to a computer it is paired with" in said
    assert "pitlogger devices pair" in said


# A stream of weights


async def test_a_scale_that_streams_is_fresh_once_a_stored_burst_must_be_over() -> None:
    from pitlogger_drivers.weight_scale.driver import StoredResultsDecoder

    now = [100.0]
    decoder = StoredResultsDecoder(lambda: now[0])
    qualities = []
    for _ in range(200):  # ten a second, without a time stamp
        now[0] += 0.1
        qualities += [found.quality for found in decoder.feed(Chunk("", b"\x00\xc8\x00"))]  # type: ignore[union-attr]
    assert qualities[0] is Quality.POSSIBLY_STORED
    assert set(qualities[101:]) == {Quality.GOOD}


async def test_a_stored_burst_stays_marked_to_its_end() -> None:
    from pitlogger_drivers.weight_scale.driver import StoredResultsDecoder

    now = [0.0]
    decoder = StoredResultsDecoder(lambda: now[0])
    for _ in range(40):
        now[0] += 0.05
        (found,) = decoder.feed(Chunk("", b"\x00\xc8\x00"))
        assert found.quality is Quality.POSSIBLY_STORED  # type: ignore[union-attr]
    now[0] += 2.5
    (found,) = decoder.feed(Chunk("", b"\x00\xd0\x00"))
    assert found.quality is Quality.GOOD  # type: ignore[union-attr]


# A device


@pytest.mark.parametrize("step", [RadioFaultPoint.CONNECT, RadioFaultPoint.DISCOVER])
async def test_a_device_that_hangs_while_it_is_connected_delays_nobody(
    bluez: SimulatedBluez, step: RadioFaultPoint, monkeypatch: pytest.MonkeyPatch
) -> None:
    bluez.world.add(weight_scale(A))
    bluez.world.add(weight_scale(B))
    bluez.world.faults.add(RadioFault(step, RadioFaultKind.HANG, A, times=None))
    Radio.shared().turns._turn_s = 0.3
    hanging = asyncio.create_task(
        GattTransport(settings(A, needed=("2a9d",), connect_s=8.0)).__aenter__()
    )
    await until(lambda: bool(bluez.calls.connecting or bluez.world.links))
    async with asyncio.timeout(2.0):
        async with GattTransport(settings(B, needed=("2a9d",), connect_s=8.0)):
            assert bluez.world.path(B) in bluez.world.links
    hanging.cancel()
    await asyncio.wait({hanging})
    assert bluez.calls.most_connecting == 1


async def test_a_device_slow_to_tell_its_services_is_read_all_the_same(
    bluez: SimulatedBluez,
) -> None:
    slow = weight_scale(A)
    slow.discovery_s = 0.8
    bluez.world.add(slow)
    bluez.world.add(weight_scale(B))
    Radio.shared().turns._turn_s = 0.2
    async with AsyncExitStack() as stack:
        links = [GattTransport(settings(a, needed=("2a9d",), connect_s=5.0)) for a in (A, B)]
        await asyncio.gather(*(stack.enter_async_context(link) for link in links))
        assert len(bluez.world.links) == 2


async def test_devices_connect_under_delays_drawn_at_random(message_bus: str) -> None:
    random = Random(7)
    async with SimulatedBluez(message_bus, delay_s=lambda: random.uniform(0.0, 0.2)) as bluez:
        for address in (A, B, C):
            bluez.world.add(weight_scale(address))
        async with AsyncExitStack() as stack:
            links = [GattTransport(settings(a, needed=("2a9d",))) for a in (A, B, C)]
            await asyncio.gather(*(stack.enter_async_context(link) for link in links))
            assert len(bluez.world.links) == 3
        assert bluez.calls.most_connecting == 1
    from tests.devices.conftest import close_bleak

    await close_bleak()


async def test_writes_that_start_a_stream_are_made_in_order_once_values_can_come(
    bluez: SimulatedBluez,
) -> None:
    taker = Characteristic("fff2", ("write",))
    told = Characteristic("fff1", ("notify",))
    bluez.world.add(Peripheral(A, "tray", (GattService("fff0", (told, taker)),)))
    start = (GattWrite("fff2", b"\x01", 0.05), GattWrite("fff2", b"\x02\x03"))
    seen: list[str] = []
    bluez.world.observe = lambda event, _address, _which: seen.append(event)
    async with GattTransport(settings(A, needed=("fff1",), start=start)):
        assert taker.writes == [b"\x01", b"\x02\x03"]
    assert seen[:4] == ["connected", "subscribed", "written", "written"]


# Links and adapters


async def test_how_many_links_an_adapter_carries_is_learned_from_its_refusal(
    bluez: SimulatedBluez,
) -> None:
    bluez.world.max_links = 1
    for address in (A, B):
        bluez.world.add(weight_scale(address))
    async with GattTransport(settings(A, needed=("2a9d",))):
        with pytest.raises(TransportError, match="no slot left"):
            await GattTransport(settings(B, needed=("2a9d",))).__aenter__()
        with pytest.raises(TransportError, match="link 2 of adapter hci0, which carries 1"):
            await GattTransport(settings(B, needed=("2a9d",))).__aenter__()
    async with GattTransport(settings(B, needed=("2a9d",))):
        assert bluez.world.links


def two_adapters(bluez: SimulatedBluez) -> World:
    """Plug a second adapter in, which has the same devices in reach."""
    return bluez.add_adapter("hci1", "02:00:00:00:00:02")


async def test_two_adapters_share_the_load(bluez: SimulatedBluez) -> None:
    second = two_adapters(bluez)
    for world in (bluez.world, second):
        world.max_links = 1
    async with AsyncExitStack() as stack:
        for address in (A, B):
            device = weight_scale(address)
            bluez.world.add(device)
            second.add(device)
            await stack.enter_async_context(GattTransport(settings(address, needed=("2a9d",))))
        assert [len(world.links) for world in (bluez.world, second)] == [1, 1]


async def test_an_adapter_that_is_pulled_takes_no_link_of_the_other(bluez: SimulatedBluez) -> None:
    second = two_adapters(bluez)
    bluez.world.add(weight_scale(A))
    second.add(weight_scale(B))
    first = GattTransport(settings(A, needed=("2a9d",), adapter="hci0"))
    async with first, GattTransport(settings(B, needed=("2a9d",), adapter="hci1")) as other:
        second.pull_adapter()
        with pytest.raises(TransportError, match="the Bluetooth adapter hci1 went away"):
            await asyncio.wait_for(_to_the_end(other), 2)
        bluez.world.notify(A, "2a9d", b"\x00\xc8\x00")
        chunk = await asyncio.wait_for(anext(first.chunks()), 2)
        while chunk.source != "2a9d":
            chunk = await asyncio.wait_for(anext(first.chunks()), 2)
        assert chunk.data == b"\x00\xc8\x00"


async def test_a_device_moves_to_the_other_adapter_when_its_own_is_pulled(
    bluez: SimulatedBluez,
) -> None:
    second = two_adapters(bluez)
    device = weight_scale(A)
    bluez.world.add(device)
    second.add(device)
    driver = Registry().load("weight-scale")
    own = configure(driver.info, {"address": A}, "test")
    async with Supervisor(lambda *_: None, lambda *_: None) as supervisor:
        supervisor.start(Device("d", driver({}), own))
        await until(lambda: bool(bluez.world.links or second.links))
        (bluez.world if bluez.world.links else second).pull_adapter()
        await until(lambda: device.is_linked, 5)


async def test_a_beacon_heard_by_two_adapters_counts_once_and_survives_one(
    bluez: SimulatedBluez,
) -> None:
    second = two_adapters(bluez)
    beacon = Peripheral(A, "beacon", manufacturer_data={0xFFFF: b"\x01"})
    bluez.world.add(beacon)
    second.add(beacon)
    async with AdvertisementTransport(AdvertisementSettings(address=A, maker=0xFFFF)) as heard:
        stream = heard.chunks()
        await asyncio.wait_for(anext(stream), 2)
        bluez.world.pull_adapter()
        found = await collect(stream, 0.5)
    assert found
    assert heard._through is not None
    assert heard._through[0].adapter == "hci1"


@pytest.mark.parametrize(
    ("blocked", "words"), [(False, "is off"), (True, "is blocked"), (None, "went away")]
)
async def test_an_adapter_lost_while_it_runs_is_reported_as_what_it_is(
    bluez: SimulatedBluez, blocked: bool | None, words: str
) -> None:
    bluez.world.add(weight_scale(A))
    async with GattTransport(settings(A, needed=("2a9d",))) as link:
        if blocked is None:
            bluez.world.pull_adapter()
        else:
            bluez.world.set_powered(False, blocked=blocked)
        with pytest.raises(TransportError, match=words):
            await asyncio.wait_for(_to_the_end(link), 2)
