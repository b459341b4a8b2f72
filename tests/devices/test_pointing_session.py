"""From box to reading with a glass of ice water: one scripted device of each kind."""

from __future__ import annotations

import asyncio
import socket
import struct
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

from pitlogger.bootstrap.devices import configured_devices
from pitlogger.config import load_config
from pitlogger.devices.contract import Chunk, Measurement
from pitlogger.devices.pointing.finding import Finding, find
from pitlogger.devices.pointing.joined import JoinedDevice
from pitlogger.devices.pointing.session import FIRST, PULL, SECOND, WARM, Pointing, shown
from pitlogger.devices.pointing.watching import Tape, UnknownDevice
from pitlogger.devices.pointing.way import DeviceAccess
from pitlogger.devices.supervisor import Supervisor
from pitlogger.devices.transports.recording import read_recording
from pitlogger.errors import ConfigError, RefusedError
from pitlogger.model.quantities import Quantity
from pitlogger.testing import PseudoPort, until
from pitlogger_simulators.bluetooth.peripherals import Characteristic, GattService, Peripheral
from pitlogger_simulators.bluetooth.service import SimulatedBluez

A = "02:00:00:00:00:10"
ROOM_C = 21.3
T = Quantity.TEMPERATURE


class Probes:
    """Three probes of a device; the middle one is pointed at."""

    def __init__(self) -> None:
        self.true_c: list[float | None] = [ROOM_C + 0.1, ROOM_C, ROOM_C - 0.2]
        self.count = 0

    def set(self, true_c: float | None) -> None:
        self.true_c[1] = true_c


class Person:
    """Does at each prompt what it says, and types."""

    def __init__(self, probes: Probes, tape: Tape) -> None:
        self.probes = probes
        self.tape = tape

    async def _see(self, frames: int) -> None:
        had = len(self.tape.timed)
        await until(lambda: len(self.tape.timed) >= had + frames)

    async def __call__(self, prompt: str) -> str:
        if prompt == WARM[T]:
            for step in range(8):
                self.probes.set(ROOM_C + 1.4 * step)
                await self._see(2)
            return "\n"
        if prompt in (FIRST[T], SECOND[T]):
            true_c = 0.2 if prompt == FIRST[T] else 74.9
            self.probes.set(true_c)
            await self._see(4)
            self.tape._taken_s = time.monotonic()  # what came while it settled is no part of it
            await self._see(4)
            return "0C\n" if prompt == FIRST[T] else "167F\n"
        assert prompt == PULL[T]
        self.probes.set(None)
        await self._see(6)
        return "\n"


async def pointed_at(way: DeviceAccess, probes: Probes) -> tuple[Tape, Any, Finding]:
    """Point at a device that sends already."""
    tape = Tape(sends_lines=way.sends_lines)
    person = Person(probes, tape)
    steps = Pointing(tape, person, lambda _line: None, rest_s=0.4, patience_s=5.0)
    evidence = await steps.run(UnknownDevice(tape, way.open))
    finding = find(evidence)
    assert finding is not None
    return tape, evidence, finding


@asynccontextmanager
async def sending(send: Callable[[], None]) -> AsyncIterator[None]:
    """Send a frame every 20 ms."""

    async def run() -> None:
        while True:
            send()
            await asyncio.sleep(0.02)

    task = asyncio.create_task(run())
    try:
        yield
    finally:
        task.cancel()
        await asyncio.wait({task})


async def read_back(
    tmp_path: Path, way: DeviceAccess, probes: Probes, run: Any
) -> dict[str, float | None]:
    """Point, write, load the configuration with what was written, and read the device."""
    tape, evidence, finding = run
    data = tmp_path / "data"
    joined = JoinedDevice(
        way, tape, evidence, finding, "tray", {"probe-1": "pit"}, data / "devices.d"
    )
    joined.written().put()
    config_file = tmp_path / "pitlogger.toml"
    config_file.write_text(f'[node]\ndata = "{data}"\n', encoding="utf-8")
    config = load_config(config_file)
    assert config.device[0].id == "tray"
    assert config.device[0].channel[0].site == "pit"
    header, kept = read_recording(data / "devices.d/captures/tray.jsonl")
    assert header.driver == "declared"
    assert len(kept) > 20
    latest: dict[str, Measurement] = {}
    probes.set(107.0)
    async with Supervisor(lambda _d, m: latest.update({m.channel: m}), lambda *_: None) as devices:
        devices.start(configured_devices(config)[0])
        await until(lambda: "probe-1" in latest and latest["probe-1"].value is not None, 5)
        await until(lambda: abs((latest["probe-1"].value or 0) - 107.0) < 0.3, 5)
        probes.set(None)
        await until(lambda: latest["probe-1"].value is None)
    return {name: found.value for name, found in latest.items() if name.startswith("probe")}


def frame(probes: Probes) -> bytes:
    """Return a frame: mark, counter, three numbers of 0.1 degC, a battery of 88 %."""
    probes.count += 1
    raws = [0x7FFF if c is None else round(c * 10) for c in probes.true_c]
    return b"\xa5" + bytes((probes.count & 0xFF,)) + struct.pack("<3h", *raws) + b"\x58"


def expect(values: dict[str, float | None]) -> None:
    """Check the neighbours: each has a channel of its own and its own value."""
    assert values["probe-1"] is None
    assert sorted(v for v in values.values() if v is not None) == [21.1, 21.4]


async def test_a_connected_device(bluez: SimulatedBluez, tmp_path: Path) -> None:
    probes = Probes()
    told = Characteristic("fff1", ("notify",))
    taker = Characteristic("fff2", ("write",))
    bluez.world.add(Peripheral(A, "tray", (GattService("fff0", (told, taker)),)))

    def send() -> None:
        if taker.writes:  # silent until it is told to begin
            bluez.world.notify(A, "fff1", frame(probes))
            bluez.world.notify(A, "fff1", b"\xa5\x00\x01")  # another kind of frame

    way = DeviceAccess(address=A, start=(("fff2", b"\x01", 0.01),))
    async with sending(send):
        run = await pointed_at(way, probes)
        finding: Finding = run[2]
        assert finding.is_sure, finding.doubts
        assert "byte 8 is 88: perhaps the battery in percent" in finding.notes
        assert "byte 1 counts the frames" in finding.notes
        assert finding.sentinels == (0x7FFF,)
        expect(await read_back(tmp_path, way, probes, run))


async def test_a_device_that_advertises(bluez: SimulatedBluez, tmp_path: Path) -> None:
    probes = Probes()
    beacon = Peripheral(A, "tray", manufacturer_data={0xFFFF: frame(probes)})
    bluez.world.add(beacon)

    def send() -> None:
        beacon.manufacturer_data[0xFFFF] = frame(probes)
        bluez.world.hear(beacon)

    way = DeviceAccess(device_name="tray", advertised=True)
    async with sending(send):
        run = await pointed_at(way, probes)
        expect(await read_back(tmp_path, way, probes, run))
    table = (tmp_path / "data/devices.d/tray.toml").read_text()
    assert 'name = "tray"' in table
    assert A not in table


@pytest.mark.parametrize("empty", ["-999.9", "nan", "--.-", "T=--.-C"])
async def test_a_serial_device(port: PseudoPort, tmp_path: Path, empty: str) -> None:
    probes = Probes()

    def send() -> None:
        probes.count += 1
        said = [empty if c is None else f"{c:.1f}" for c in probes.true_c]
        port.write(f"{probes.count};{';'.join(said)};ok\r\n".encode())

    way = DeviceAccess(port=str(port.path))
    async with sending(send):
        run = await pointed_at(way, probes)
        expect(await read_back(tmp_path, way, probes, run))


async def test_a_hid_device(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sysfs, dev = tmp_path / "sys", tmp_path / "dev"
    (sysfs / "hidraw0/device").mkdir(parents=True)
    dev.mkdir()
    (sysfs / "hidraw0/device/report_descriptor").write_bytes(bytes.fromhex("06 00ff 0901 a101"))
    (sysfs / "hidraw0/device/uevent").write_text("HID_ID=0003:00001234:00005678\n")
    from pitlogger.devices.transports import hidraw

    monkeypatch.setattr(hidraw.HidSettings.__init__, "__defaults__", ("", 0, sysfs, dev))
    listening = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    listening.bind(str(dev / "hidraw0"))
    listening.listen()
    listening.setblocking(False)
    ends: list[socket.socket] = []
    probes = Probes()

    def send() -> None:
        with suppress(BlockingIOError):
            ends.append(listening.accept()[0])
        for end in list(ends):
            try:
                end.send(frame(probes))
            except OSError:
                ends.remove(end)
                end.close()

    way = DeviceAccess(hid=(0xFF00, 1))
    async with sending(send):
        run = await pointed_at(way, probes)
        expect(await read_back(tmp_path, way, probes, run))
    for end in (*ends, listening):
        end.close()


# Mistakes


class Clumsy(Person):
    """Types nonsense, a mass, and then what is true."""

    def __init__(self, probes: Probes, tape: Tape) -> None:
        super().__init__(probes, tape)
        self.slips = ["cold", "2kg", ""]

    async def __call__(self, prompt: str) -> str:
        if prompt == FIRST[T] and self.slips:
            return self.slips.pop(0)
        return await super().__call__(prompt)


async def test_what_cannot_be_used_is_asked_again(port: PseudoPort) -> None:
    probes = Probes()
    said: list[str] = []
    tape = Tape(sends_lines=True)
    steps = Pointing(tape, Clumsy(probes, tape), said.append, rest_s=0.2)

    def send() -> None:
        port.write(f"{','.join('' if c is None else f'{c:.1f}' for c in probes.true_c)}\n".encode())

    async with sending(send):
        evidence = await steps.run(UnknownDevice(tape, DeviceAccess(port=str(port.path)).open))
    assert len(evidence.moments) == 2
    assert any("neither a temperature nor a mass" in line for line in said)
    assert any("is a mass: this device gives a temperature" in line for line in said)


async def test_breaking_off_writes_nothing(port: PseudoPort) -> None:
    async def gone(_prompt: str) -> None:
        return None

    tape = Tape(sends_lines=True)
    steps = Pointing(tape, gone, lambda _line: None, rest_s=0.1)
    async with sending(lambda: port.write(b"1,2\n")):
        with pytest.raises(RefusedError, match="nothing was written"):
            await steps.run(UnknownDevice(tape, DeviceAccess(port=str(port.path)).open))


def test_a_frame_is_shown_with_what_changed() -> None:
    assert shown(Chunk("fff1", b"\x01\x02"), b"\x01\x03") == "fff1   2 bytes  01 [02]"


@pytest.mark.parametrize(
    ("line", "before", "said"),
    [
        (b"12;21.0;ok", b"11;20.9;ok", "[12];[21.0];ok"),
        (b"T1=107.4C, b", b"T1=107.4C, b", "T1=107.4C, b"),
        (b"12", None, "12"),
        (b"12;x", b"12", "12;x"),
        (b"12 \x1b[2J\x07", None, "12 ?[2J?"),
    ],
)
def test_a_line_is_shown_as_text(line: bytes, before: bytes | None, said: str) -> None:
    assert shown(Chunk("", line), before, is_line=True) == said


def test_two_devices_of_one_id_are_refused_with_the_file(tmp_path: Path) -> None:
    joined = tmp_path / "data/devices.d/tray.toml"
    joined.parent.mkdir(parents=True)
    joined.write_text('[[device]]\nid = "tray"\ndriver = "csv-line"\nport = "x"\n')
    config = tmp_path / "c.toml"
    same = '[[device]]\nid = "tray"\ndriver = "csv-line"\nport = "y"\n'
    config.write_text(f'[node]\ndata = "{tmp_path}/data"\n{same}')
    with pytest.raises(ConfigError, match=r"devices\.d/tray\.toml: device 'tray'"):
        load_config(config)
    joined.write_text("[node]\n")
    config.write_text(f'[node]\ndata = "{tmp_path}/data"\n')
    with pytest.raises(ConfigError, match=r"devices\.d/tray\.toml:"):
        load_config(config)
