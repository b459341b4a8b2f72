"""The stand: every kind of device, read by the real daemon through its own configuration."""

from __future__ import annotations

import asyncio
import shutil
import socket
from asyncio.subprocess import DEVNULL
from pathlib import Path

import aiomqtt
import pytest

from pitlogger.config import parse_config
from pitlogger.formats.capture import parse_capture
from pitlogger.model.readings import Reading
from pitlogger.node.daemon import Daemon
from pitlogger_simulators.bluetooth.bus import available
from pitlogger_simulators.clock import SimulatedClock
from pitlogger_simulators.play import Play, stage
from pitlogger_simulators.scenarios.scenario import load
from pitlogger_simulators.stand import BEAT_S, Stand

HEAD = """
title = "One of each"
start = 2026-05-02T12:00:00-05:00
[cook]
name = "one of each"
[[piece]]
id = "links"
cut = "sausage"
mass = "1.6 kg"
[[channel]]
id = "bench-scale"
site = "bench"
[[pit]]
id = "pit"
[[device]]
id = "bench"
kind = "serial-scale"
[[scale]]
channel = "bench-scale"
device = "bench"
[[script]]
steps = ["wait 1 h"]
"""
PROBES = {
    "gatt-environmental": 2, "gatt-thermometer": 1, "bthome": 2, "csv-board": 2, "modbus": 2,
    "kernel-w1": 2, "kernel-iio": 1, "kernel-hwmon": 2,
}  # fmt: skip


def play_of(kind: str, folder: Path, scale: str = "serial-scale") -> Play:
    """Stage a scenario with one device of a kind, its probes in the pit."""
    text = HEAD.replace("serial-scale", scale) + f'[[device]]\nid = "probes"\nkind = "{kind}"\n'
    for number in range(PROBES[kind]):
        text += f'[[channel]]\nid = "pit-{number}"\nsite = "pit"\n'
        text += f'[[probe]]\nchannel = "pit-{number}"\ndevice = "probes"\npit = "pit"\n'
    file = folder / "each.toml"
    file.write_text(text, encoding="utf-8")
    return stage(load(str(file)), lambda channel: None)


@pytest.mark.parametrize(
    ("kind", "scale_kind"),
    [*((kind, "serial-scale") for kind in PROBES), ("csv-board", "hid-scale"),
     ("csv-board", "gatt-scale")],
)  # fmt: skip
async def test_the_daemon_hears_every_channel_of_a_device(
    kind: str, scale_kind: str, tmp_path: Path
) -> None:
    radio = kind.startswith(("gatt", "bthome")) or scale_kind == "gatt-scale"
    if radio and not available():
        pytest.skip("dbus-daemon is not installed")
    play = play_of(kind, tmp_path, scale_kind)
    clock = SimulatedClock(play.now_ms, 10.0)
    scale = play.kitchen.scales["bench-scale"]
    scale.press_on()
    scale.put(1600.0)
    tables = {
        "node": {"data": str(tmp_path / "data"), "socket": str(tmp_path / "s")},
        "web": {"enabled": False},
    }
    wanted = {"bench-scale", *play.kitchen.probes}
    async with Stand(play, tmp_path) as stand:
        with pytest.MonkeyPatch.context() as patch:
            if stand.bus_address:
                patch.setenv("DBUS_SYSTEM_BUS_ADDRESS", stand.bus_address)
            config = parse_config(stand.config_text(10.0, tables))
            async with Daemon(config, clock=clock) as daemon, asyncio.timeout(10):
                channels = daemon.engine.state.channels
                while not (
                    all(c in channels and channels[c].valid() for c in wanted)
                    and channels["bench-scale"].steadiness.steady_mg is not None
                ):
                    play.advance_to(clock.pump())
                    stand.beat()
                    await asyncio.sleep(BEAT_S)
                found = {c: channels[c].value for c in wanted}
        await close_bleak()
    assert found["bench-scale"] == pytest.approx(1_600_000, abs=10_000)
    pit_mc = play.kitchen.smoker.pit_c("pit") * 1000
    for probe in play.kitchen.probes:
        assert found[probe] == pytest.approx(pit_mc, abs=4_000)


async def close_bleak() -> None:
    """Close bleak's own bus connection of this loop."""
    from bleak.backends.bluezdbus import manager as bleak_manager

    manager = bleak_manager._global_instances.pop(asyncio.get_running_loop(), None)
    if manager is not None and manager._bus is not None:
        manager._bus.disconnect()
        if manager._bus_watcher_task is not None:
            await asyncio.wait({manager._bus_watcher_task})


async def test_a_board_publishes_to_a_broker(tmp_path: Path) -> None:
    program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin")
    if program is None:
        pytest.skip("mosquitto is not installed")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    broker = await asyncio.create_subprocess_exec(program, "-p", str(port), stderr=DEVNULL)
    try:
        file = tmp_path / "each.toml"
        file.write_text(
            f'{HEAD}[[device]]\nid = "board"\nkind = "mqtt-board"\n'
            f'broker = "127.0.0.1:{port}"\n[[channel]]\nid = "pit"\nsite = "pit"\n'
            '[[probe]]\nchannel = "pit"\ndevice = "board"\npit = "pit"\n',
            encoding="utf-8",
        )
        play = stage(load(str(file)), lambda channel: None)
        async with Stand(play, tmp_path) as stand, asyncio.timeout(10):
            board = stand.devices[1]
            async with await connected(port) as client:
                await client.subscribe("simulated/#")
                play.advance_to(play.now_ms + 1000)
                board.beat()
                message = await anext(aiter(client.messages))
        assert str(message.topic) == "simulated/board"
        (reading,) = parse_capture([bytes(message.payload)])
        assert isinstance(reading, Reading)
        assert reading.channel == "pit"
    finally:
        broker.terminate()
        await broker.wait()


async def connected(port: int) -> aiomqtt.Client:
    """Return a client of a broker that may still be starting."""
    while True:
        try:
            async with aiomqtt.Client("127.0.0.1", port):
                return aiomqtt.Client("127.0.0.1", port)
        except aiomqtt.MqttError:
            await asyncio.sleep(0.05)


async def test_intervals_are_stretched_by_the_rate(tmp_path: Path) -> None:
    play = play_of("csv-board", tmp_path)
    async with Stand(play, tmp_path, bluetooth=False) as stand:
        config = parse_config(stand.config_text(600.0))
    (bench, probes) = config.device
    assert bench.own_keys()["interval_s"] == probes.own_keys()["interval_s"] == 240.0


async def test_without_bluetooth_its_devices_become_boards(tmp_path: Path) -> None:
    play = play_of("gatt-environmental", tmp_path)
    async with Stand(play, tmp_path, bluetooth=False) as stand:
        assert [device.driver for device in stand.devices] == ["serial-scale", "csv-line"]
