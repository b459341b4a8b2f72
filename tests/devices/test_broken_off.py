"""Bluetooth trouble in the middle: an adapter that goes during a connect, a probe now and then."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import pytest

from pitlogger.devices.supervisor import Link
from pitlogger.devices.transports.ble.gatt import GattTransport
from pitlogger.errors import TransportError
from pitlogger.model.readings import Quality
from pitlogger.testing import until
from pitlogger_simulators.bluetooth.faults import (
    RadioFault,
    RadioFaultKind,
    RadioFaultPoint,
    att_error,
)
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from tests.devices.bench import Bench
from tests.devices.peripherals import weight_scale
from tests.devices.test_alone import A, B, read_only_hub, settings, two_adapters

STEPS = [RadioFaultPoint.CONNECT, RadioFaultPoint.DISCOVER, RadioFaultPoint.SUBSCRIBE]
LOSSES: dict[str, tuple[Callable[[SimulatedBluez], None], str]] = {
    "pulled": (lambda bluez: bluez.world.pull_adapter(), "the Bluetooth adapter hci0 went away"),
    "off": (lambda bluez: bluez.world.set_powered(False), "the Bluetooth adapter is off"),
    "blocked": (
        lambda bluez: bluez.world.set_powered(False, blocked=True),
        "the Bluetooth adapter is blocked",
    ),
}


async def reached(bluez: SimulatedBluez, step: RadioFaultPoint) -> None:
    """Return when a device hangs at a step."""
    if step is RadioFaultPoint.CONNECT:
        await until(lambda: bool(bluez.calls.connecting))
    else:
        await until(lambda: bool(bluez.world.links))


@pytest.mark.parametrize("how", LOSSES)
@pytest.mark.parametrize("step", STEPS)
async def test_an_adapter_that_goes_during_a_connect_is_told_as_what_it_is_and_at_once(
    bluez: SimulatedBluez, step: RadioFaultPoint, how: str
) -> None:
    lose, words = LOSSES[how]
    bluez.world.add(weight_scale(A))
    bluez.world.faults.add(RadioFault(step, RadioFaultKind.HANG, A, times=None))
    link = GattTransport(settings(A, needed=("2a9d",), connect_s=60.0, find_s=60.0))
    opening = asyncio.create_task(link.__aenter__())
    await reached(bluez, step)
    lose(bluez)
    with pytest.raises(TransportError, match=words) as caught:
        await asyncio.wait_for(opening, 3)
    assert caught.value.remedy


async def test_a_service_that_is_stopped_during_a_connect_is_told_at_once(
    bluez: SimulatedBluez,
) -> None:
    bluez.world.add(weight_scale(A))
    bluez.world.faults.add(RadioFault(RadioFaultPoint.DISCOVER, RadioFaultKind.HANG, A, times=None))
    link = GattTransport(settings(A, needed=("2a9d",), connect_s=60.0))
    opening = asyncio.create_task(link.__aenter__())
    await reached(bluez, RadioFaultPoint.DISCOVER)
    await bluez.stop()
    with pytest.raises(TransportError, match="the Bluetooth service went away"):
        await asyncio.wait_for(opening, 3)


async def test_a_device_that_hangs_up_while_its_services_are_asked_for_is_told_in_words(
    bluez: SimulatedBluez,
) -> None:
    bluez.world.add(weight_scale(A))
    bluez.world.faults.add(RadioFault(RadioFaultPoint.DISCOVER, RadioFaultKind.DROP, A))
    with pytest.raises(TransportError, match="the link was lost") as caught:
        await GattTransport(settings(A, needed=("2a9d",))).__aenter__()
    assert "failed to discover" not in str(caught.value)


async def test_a_device_of_another_adapter_goes_on_while_one_is_pulled_during_a_connect(
    bluez: SimulatedBluez,
) -> None:
    second = two_adapters(bluez)
    bluez.world.add(weight_scale(A))
    second.add(weight_scale(B))
    second.faults.add(RadioFault(RadioFaultPoint.DISCOVER, RadioFaultKind.HANG, B))
    own, other = Bench(), Bench()
    async with own.supervisor, other.supervisor:
        own.start("weight-scale", address=A, adapter="hci0")
        await until(lambda: bluez.world.subscribed(A, "2a9d"))
        other.start("weight-scale", address=B, adapter="hci1")
        await until(lambda: bool(second.links))
        second.pull_adapter()
        await until(lambda: bool(other.said))
        assert "the Bluetooth adapter hci1 went away" in other.said[-1][1]
        bluez.world.notify(A, "2a9d", b"\x00\xc8\x00")
        await own.value("mass", 1.0)
        assert [link for link, _ in own.said] == [Link.UP]
        second.plug_adapter()
        await until(lambda: second.subscribed(B, "2a9d"), 10)


async def test_a_probe_that_answers_every_second_read_is_told_once_and_hurts_nobody(
    bluez: SimulatedBluez,
) -> None:
    bluez.world.add(read_only_hub())
    bench = Bench()

    def flat(quality: Quality) -> int:
        return sum(m.channel == "temperature/flat" and m.quality is quality for m in bench.found)

    async def fail_once() -> None:
        failed = flat(Quality.FAULT)
        bluez.world.faults.add(att_error(RadioFaultPoint.READ, 0x80, A, characteristic="2a6e#3"))
        await until(lambda: flat(Quality.FAULT) > failed)
        read = flat(Quality.GOOD)
        await until(lambda: flat(Quality.GOOD) > read)

    async with bench.supervisor:
        bench.start("environmental-sensing", address=A, poll_s=0.02, check_s=0.02)
        await until(lambda: flat(Quality.GOOD) > 0)
        for _ in range(6):
            await fail_once()
        standing = bench.supervisor.standing("d")
        assert standing.link is Link.UP
        assert standing.message.endswith("as for a probe that is not plugged: now and then")
        assert "2a6e/flat" in standing.message
        assert standing.remedy
    assert len(bench.said) <= 4  # connected, in fault, well, now and then
    others = [m for m in bench.found if m.channel == "temperature/left"]
    assert all(m.quality is Quality.GOOD for m in others)
