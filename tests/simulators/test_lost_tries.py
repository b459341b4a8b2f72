"""A link that breaks at one step of being taken up, over the real transports, and heals."""

from __future__ import annotations

import asyncio
import random
from collections.abc import Callable
from pathlib import Path

import pytest

from pitlogger.devices.contract import Chunk, Transport
from pitlogger.devices.transports.ble.gatt import GattTransport
from pitlogger.devices.transports.ble.settings import GattSettings
from pitlogger.devices.transports.hidraw import HidSettings, HidTransport
from pitlogger.devices.transports.serial import SerialSettings, SerialTransport
from pitlogger.errors import TransportError, UsageError
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from pitlogger_simulators.devices.emulated import Emulated
from pitlogger_simulators.devices.on_bluetooth import GattEnvironmental
from pitlogger_simulators.devices.on_hid import EmulatedHidScale
from pitlogger_simulators.devices.on_serial import CsvBoard, EmulatedSerialScale, OnSerial
from pitlogger_simulators.faults import Fault, Faults
from pitlogger_simulators.play import Play
from pitlogger_simulators.scenarios.form import DeviceForm
from pitlogger_simulators.scenarios.scenario import load, read

MakePlay = Callable[..., Play]
BEAT_S = 0.05
WITHIN_S = 15.0


def table(play: Play, device: str) -> DeviceForm:
    return next(table for table in play.scenario.file.device if table.id == device)


def strike(play: Play, on: str, step: str) -> None:
    """Let a link break at a step from now on."""
    fault = Fault(on, "disconnect", play.now_ms, 1 << 62, step=step)
    play.faults = Faults((fault,), random.Random(3))


def heal(play: Play) -> None:
    play.faults = Faults((), random.Random(3))


async def beating(device: Emulated) -> None:
    """Let a device beat and speak until it is cancelled."""
    while True:
        for outlet in device.outlets:
            outlet.next_ms = 0
        device.beat()
        await asyncio.sleep(BEAT_S)


async def heard(make: Callable[[], Transport]) -> list[Chunk]:
    """Take a link up and return its first chunk."""
    async with asyncio.timeout(WITHIN_S), make() as transport:
        async for chunk in transport.chunks():
            return [chunk]
    return []


async def gathered(transport: Transport, into: bytearray) -> None:
    """Gather bytes until the transport ends."""
    async for chunk in transport.chunks():
        into += chunk.data


async def loses_and_heals(play: Play, device: Emulated, make: Callable[[], Transport]) -> None:
    """While the fault acts each try ends with a transport's error, and afterwards none does."""
    beats = asyncio.create_task(beating(device))
    try:
        for _ in range(2):
            with pytest.raises(TransportError):
                await heard(make)
        heal(play)
        async with asyncio.timeout(WITHIN_S):
            while True:
                try:
                    assert await heard(make)
                except TransportError:
                    await asyncio.sleep(BEAT_S)  # it heals at the next beat
                    continue
                break
    finally:
        beats.cancel()
        await asyncio.wait({beats})
        device.close()


@pytest.mark.parametrize("step", ["connect", "discover", "subscribe"])
async def test_a_peripheral_is_lost_at_a_step(
    step: str, make_play: MakePlay, bluez: SimulatedBluez
) -> None:
    play = make_play()
    device = GattEnvironmental(play, table(play, "probes"), bluez.world)
    settings = GattSettings(address=device.address, needed=("2a6e",), find_s=2.0, connect_s=3.0)
    strike(play, "probes", step)
    await loses_and_heals(play, device, lambda: GattTransport(settings))


async def test_a_port_hangs_up_on_whoever_opens_it(make_play: MakePlay, tmp_path: Path) -> None:
    play = make_play()
    board = CsvBoard(play, table(play, "probes"), tmp_path)
    strike(play, "probes", "connect")

    def make() -> Transport:
        return SerialTransport(SerialSettings(str(board.port.path)))

    await loses_and_heals(play, board, make)


async def test_a_node_hangs_up_on_whoever_opens_it(make_play: MakePlay, tmp_path: Path) -> None:
    play = make_play()
    scale = EmulatedHidScale(play, table(play, "bench"), tmp_path)
    play.kitchen.scales["bench-scale"].press_on()
    strike(play, "bench", "connect")
    settings = HidSettings(0x8D, 0x20, sysfs=scale.sysfs, dev=scale.dev)
    await loses_and_heals(play, scale, lambda: HidTransport(settings))


@pytest.mark.parametrize("kind", [EmulatedSerialScale, EmulatedHidScale])
async def test_a_frame_comes_half_and_then_the_device_is_gone(
    kind: type[OnSerial | EmulatedHidScale], make_play: MakePlay, tmp_path: Path
) -> None:
    play = make_play()
    scale = kind(play, table(play, "bench"), tmp_path)
    play.kitchen.scales["bench-scale"].press_on()
    whole = 6 if isinstance(scale, EmulatedHidScale) else len(b"ST,GS,+  0.000kg\r\n")
    strike(play, "bench", "mid-frame")
    beats: asyncio.Task[None] | None = None
    transport: Transport
    if isinstance(scale, EmulatedHidScale):
        transport = HidTransport(HidSettings(0x8D, 0x20, sysfs=scale.sysfs, dev=scale.dev))
    else:
        transport = SerialTransport(SerialSettings(str(scale.port.path)))
    came = bytearray()
    try:
        async with asyncio.timeout(WITHIN_S), transport:
            beats = asyncio.create_task(beating(scale))
            with pytest.raises(TransportError, match="went away"):
                await gathered(transport, came)
    finally:
        if beats is not None:
            beats.cancel()
            await asyncio.wait({beats})
        scale.close()
    assert 0 < len(came) < whole


@pytest.mark.parametrize(
    ("fault", "told"),
    [
        ('on = "bench"\nkind = "disconnect"\nstep = "conect"', "connect"),
        ('on = "bench"\nkind = "disconnect"\nstep = "subscribe"', "mid-frame"),
        ('on = "bench"\nkind = "drop"\nstep = "connect"', "only a disconnect"),
        ('on = "bensh"\nkind = "drop"', "bench"),
        ('on = "bench"\nkind = "clock-step"', "clock"),
    ],
)
def test_a_fault_that_cannot_be_is_named(fault: str, told: str, tmp_path: Path) -> None:
    file = tmp_path / "broken.toml"
    _, text = read("packer-paper")
    file.write_text(f'{text}\n[[fault]]\n{fault}\nfrom = "23:00"\n', encoding="utf-8")
    with pytest.raises(UsageError, match=told):
        load(str(file))
