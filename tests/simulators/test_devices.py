"""Emulated devices over the real transports: what comes out is what the instruments show."""

from __future__ import annotations

import asyncio
import random
from collections.abc import Callable
from pathlib import Path

import pytest

from pitlogger.devices.contract import Chunk, Measurement, Transport
from pitlogger.devices.transports.ble.gatt import GattTransport
from pitlogger.devices.transports.ble.settings import GattSettings
from pitlogger.devices.transports.hidraw import HidSettings, HidTransport
from pitlogger.devices.transports.serial import SerialSettings, SerialTransport
from pitlogger.errors import TransportError
from pitlogger_drivers.bthome.objects import split
from pitlogger_drivers.csv_line.decode import CsvParser
from pitlogger_drivers.environmental.decode import decode_temperature
from pitlogger_drivers.hid_scale.decode import decode as decode_hid
from pitlogger_drivers.hwmon.decode import decode as decode_hwmon
from pitlogger_drivers.iio.decode import decode as decode_iio
from pitlogger_drivers.modbus.registers import parse_map, read
from pitlogger_drivers.serial_scale.decode import decode as decode_scale
from pitlogger_drivers.w1.decode import decode as decode_w1
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from pitlogger_simulators.devices.emulated import Emulated
from pitlogger_simulators.devices.frames import modbus_crc
from pitlogger_simulators.devices.on_bluetooth import Advertiser, GattEnvironmental
from pitlogger_simulators.devices.on_files import Amplifiers, MonitorChip, OneWire
from pitlogger_simulators.devices.on_hid import EmulatedHidScale
from pitlogger_simulators.devices.on_modbus import UNIT, Transmitter
from pitlogger_simulators.devices.on_serial import CsvBoard, EmulatedSerialScale
from pitlogger_simulators.faults import Fault, Faults
from pitlogger_simulators.play import Play
from pitlogger_simulators.scenarios.form import DeviceForm

MakePlay = Callable[..., Play]


def table(play: Play, device: str) -> DeviceForm:
    return next(table for table in play.scenario.file.device if table.id == device)


def strike(play: Play, on: str, kind: str, amount: float = 0.0) -> None:
    """Add a fault that acts from now on."""
    fault = Fault(on, kind, play.now_ms, 1 << 62, amount)
    play.faults = Faults((*play.faults.faults, fault), random.Random(3))


def load_scale(play: Play, grams: float) -> None:
    scale = play.kitchen.scales["bench-scale"]
    scale.press_on()
    scale.put(grams)
    scale.advance(10.0)


async def drained(transport: Transport) -> None:
    """Read until the transport ends."""
    async for _ in transport.chunks():
        pass


async def first(transport: Transport, device: Emulated) -> Chunk:
    """Return the first chunk that comes of a beat."""
    for outlet in device.outlets:
        outlet.next_ms = 0
    async with asyncio.timeout(3):
        device.beat()
        async for chunk in transport.chunks():
            return chunk
    raise AssertionError("nothing came")


async def test_a_scale_on_a_port_sends_what_it_shows(make_play: MakePlay, tmp_path: Path) -> None:
    play = make_play("scale.noise=0 g")
    scale = EmulatedSerialScale(play, table(play, "bench"), tmp_path)
    load_scale(play, 4120.0)
    async with SerialTransport(SerialSettings(str(scale.port.path))) as transport:
        chunk = await first(transport, scale)
    (found,) = decode_scale(chunk.data.rstrip())
    assert (found.value, found.unit, found.stable) == (4.12, "kg", True)
    scale.close()


async def test_the_unit_button_changes_what_is_sent(make_play: MakePlay, tmp_path: Path) -> None:
    play = make_play("scale.noise=0 g")
    scale = EmulatedSerialScale(play, table(play, "bench"), tmp_path)
    load_scale(play, 4535.0)
    play.kitchen.scales["bench-scale"].press_unit("lb")
    async with SerialTransport(SerialSettings(str(scale.port.path))) as transport:
        chunk = await first(transport, scale)
    (found,) = decode_scale(chunk.data.rstrip())
    assert (found.value, found.unit) == (10.0, "lb")
    scale.close()


def test_a_scale_that_is_off_sends_nothing(make_play: MakePlay, tmp_path: Path) -> None:
    play = make_play()
    scale = EmulatedSerialScale(play, table(play, "bench"), tmp_path)
    assert scale.samples(scale.outlets) == {}
    scale.close()


async def test_a_disconnect_unplugs_the_port_and_its_end_plugs_it_in(
    make_play: MakePlay, tmp_path: Path
) -> None:
    play = make_play()
    scale = EmulatedSerialScale(play, table(play, "bench"), tmp_path)
    async with SerialTransport(SerialSettings(str(scale.port.path))) as transport:
        strike(play, "bench", "disconnect")
        scale.beat()
        with pytest.raises(TransportError, match="went away"):
            await anext(transport.chunks())
    play.faults = Faults((), random.Random(3))
    scale.beat()
    async with SerialTransport(SerialSettings(str(scale.port.path))):
        pass
    scale.close()


async def test_a_board_sends_all_probes_in_a_line(make_play: MakePlay, tmp_path: Path) -> None:
    play = make_play()
    board = CsvBoard(play, table(play, "probes"), tmp_path)
    parser = CsvParser()
    async with SerialTransport(SerialSettings(str(board.port.path))) as transport:
        chunk = await first(transport, board)
    header, values = chunk.data.splitlines()
    parser.parse(header)
    found = {m.channel: m.value for m in parser.parse(values) if isinstance(m, Measurement)}
    assert set(found) == {"pit", "brisket_1_core", "brisket_2_core"}
    assert found["pit"] == pytest.approx(play.kitchen.smoker.pit_c("pit"), abs=3.0)
    board.close()


async def test_several_probes_of_one_uuid_are_told_apart(
    make_play: MakePlay, bluez: SimulatedBluez
) -> None:
    play = make_play()
    device = GattEnvironmental(play, table(play, "probes"), bluez.world)
    settings = GattSettings(address=device.address, needed=("2a6e",), check_s=60.0)
    heard: dict[str, float | None] = {}
    async with GattTransport(settings) as transport:
        for outlet in device.outlets:
            outlet.next_ms = 0
        device.beat()
        async with asyncio.timeout(3):
            async for chunk in transport.chunks():
                if chunk.source.startswith("2a6e"):
                    heard[chunk.source] = decode_temperature(chunk.data)[0].value
                if len(heard) == 3:
                    break
    assert set(heard) == {"2a6e/pit", "2a6e/brisket-1-core", "2a6e/brisket-2-core"}
    assert heard["2a6e/pit"] == pytest.approx(play.kitchen.smoker.pit_c("pit"), abs=3.0)


async def test_a_lost_link_is_noticed_and_comes_back(
    make_play: MakePlay, bluez: SimulatedBluez
) -> None:
    play = make_play()
    device = GattEnvironmental(play, table(play, "probes"), bluez.world)
    settings = GattSettings(address=device.address, needed=("2a6e",), find_s=2.0)
    async with GattTransport(settings) as transport:
        strike(play, "probes", "disconnect")
        device.beat()
        with pytest.raises(TransportError, match="lost"):
            await asyncio.wait_for(drained(transport), 3)
    play.faults = Faults((), random.Random(3))
    device.beat()
    async with GattTransport(settings):
        pass


async def test_an_advertiser_puts_its_probes_into_service_data(
    make_play: MakePlay, bluez: SimulatedBluez
) -> None:
    play = make_play()
    device = Advertiser(play, table(play, "butt-probe"), bluez.world)
    device.beat()
    frame = device.peripheral.service_data["fcd2"]
    objects = dict(split(frame[1:])[0])
    assert int.from_bytes(objects[0x02], "little", signed=True) / 100 == pytest.approx(
        play.kitchen.room_c, abs=1.0
    )
    assert objects[0x01] == bytes((61,))


async def test_hid_reports_keep_their_boundaries_and_unplugging_is_noticed(
    make_play: MakePlay, tmp_path: Path
) -> None:
    play = make_play("scale.noise=0 g", "scale.unit=g")
    scale = EmulatedHidScale(play, table(play, "bench"), tmp_path)
    load_scale(play, 815.0)
    settings = HidSettings(0x8D, 0x20, sysfs=scale.sysfs, dev=scale.dev)
    async with HidTransport(settings) as transport:
        chunk = await first(transport, scale)
        assert decode_hid(chunk.data)[0].value == 815.0
        strike(play, "bench", "disconnect")
        scale.beat()
        with pytest.raises(TransportError, match="went away"):
            await anext(transport.chunks())
    assert settings.find() is None
    play.faults = Faults((), random.Random(3))
    scale.beat()
    async with HidTransport(settings):
        pass
    scale.close()


def test_one_wire_files_hold_the_probes(make_play: MakePlay, tmp_path: Path) -> None:
    play = make_play()
    device = OneWire(play, table(play, "probes"), tmp_path)
    device.beat()
    text = (device.home(0) / "w1_slave").read_bytes()
    assert decode_w1(text)[0].value == pytest.approx(play.kitchen.smoker.pit_c("pit"), abs=3.0)
    device.close()


def test_an_open_thermocouple_is_a_file_of_its_own(make_play: MakePlay, tmp_path: Path) -> None:
    play = make_play()
    device = Amplifiers(play, table(play, "probes"), tmp_path)
    strike(play, "pit", "open")
    device.beat()
    words = " ".join(
        f"{path.name}={path.read_text().strip()}"
        for path in sorted(device.home(0).iterdir())
        if path.name != "name"
    )
    (found,) = decode_iio(words.encode())
    assert isinstance(found, Measurement)
    assert (found.value, found.quality.value) == (None, "open")
    device.close()


def test_a_monitoring_chip_holds_all_probes(make_play: MakePlay, tmp_path: Path) -> None:
    play = make_play()
    device = MonitorChip(play, table(play, "probes"), tmp_path)
    device.beat()
    words = " ".join(
        f"{path.name}={path.read_text().strip()}"
        for path in sorted(device.home(0).glob("temp*"))
        if not path.name.endswith("_label")
    )
    found = decode_hwmon(words.encode())
    assert len(found) == 3
    strike(play, "probes", "disconnect")
    device.beat()
    assert not device.root.exists()
    device.close()


async def test_a_transmitter_answers_when_asked(make_play: MakePlay, tmp_path: Path) -> None:
    play = make_play()
    device = Transmitter(play, table(play, "probes"), tmp_path)
    device.beat()
    request = bytes((UNIT, 4, 0, 0, 0, 3))
    async with SerialTransport(SerialSettings(str(device.port.path))) as transport:
        await transport.send(request + modbus_crc(request))
        async with asyncio.timeout(3):
            reply = (await anext(transport.chunks())).data
    found = read(reply[3:-2], parse_map(device.keys()["map"]))
    assert len(found) == 3
    assert reply[-2:] == modbus_crc(reply[:-2])
    device.close()


def test_a_transmitter_refuses_what_it_does_not_have(make_play: MakePlay) -> None:
    request = bytes((UNIT, 4, 0, 9, 0, 3))
    device = object.__new__(Transmitter)
    device.play, device._shown = make_play(), {}
    device.table = table(device.play, "probes")
    answer = device.answer(request + modbus_crc(request))
    assert answer[1:3] == bytes((0x84, 2))
    assert device.answer(request + b"\0\0") == b""
