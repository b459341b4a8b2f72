"""What serial boards, scales, transmitters and kernel sensors send when something is wrong."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from pitlogger.devices.contract import Chunk, Measurement
from pitlogger.devices.registry import Registry, configure
from pitlogger.devices.supervisor import Link
from pitlogger.devices.transports.hidraw import nodes
from pitlogger.errors import ConfigError, DeviceRefusalError
from pitlogger.model.readings import Quality
from pitlogger.testing import PseudoPort, until
from pitlogger_drivers.csv_line.decode import CsvParser
from pitlogger_drivers.modbus.decode import crc16
from pitlogger_drivers.serial_scale.decode import DECODER as SCALE
from tests.devices.bench import Bench

MAP = "0:i16:0.1:Cel"


def read(parser: CsvParser, line: str) -> list[tuple[float | None, Quality]]:
    """Return values and qualities of a line."""
    found = [m for m in parser.parse(line.encode()) if isinstance(m, Measurement)]
    return [(one.value, one.quality) for one in found]


# 1-Wire sensors behind a board


def test_minus_127_of_a_probe_is_no_value() -> None:
    parser = CsvParser()
    parser.parse(b"pit_c,core_f,bench_g")
    found = read(parser, "-127.00,-196.60,-127.00")
    assert found[:2] == [(None, Quality.OPEN)] * 2
    assert found[2] == (-127.0, Quality.GOOD)  # a mass may be what it is


def test_85_is_no_value_as_the_first_one_after_a_start_and_a_temperature_later() -> None:
    parser = CsvParser()
    assert read(parser, "85.00,20.1") == [(None, Quality.NO_VALUE), (20.1, Quality.GOOD)]
    assert read(parser, "84.9,85.00") == [(84.9, Quality.GOOD), (85.0, Quality.GOOD)]
    assert read(parser, "85.00,85.00") == [(85.0, Quality.GOOD)] * 2
    parser.parse(b"a_c,b_c")  # a header in mid-stream: the board restarted
    assert read(parser, "85.00,85.00") == [(None, Quality.NO_VALUE)] * 2


@pytest.mark.parametrize("line", ["Err 4", "ERR", "E4", "Error: 12", "--E2--", "err.7"])
def test_an_error_of_the_scale_is_its_own(line: str) -> None:
    from pitlogger.devices.decoders import DecodeOptions

    outcomes = list(SCALE.build(DecodeOptions()).feed(Chunk("", f"{line}\r\n".encode())))
    measured, error = outcomes
    assert isinstance(measured, Measurement)
    assert (measured.value, measured.quality) == (None, Quality.FAULT)
    assert isinstance(error, DeviceRefusalError)
    assert line in str(error)
    assert error.remedy


# Thermocouples in volts


def csv_values(convert: str, lines: list[str]) -> tuple[list[float], list[str]]:
    """Return the temperatures of a board's lines, and what was questioned."""
    driver = Registry().load("csv-line")
    config = configure(driver.info, {"port": "x", "convert": {"tc": convert}}, "test")
    decoder = driver({}).decoder(config)
    text = "".join(f"{line}\n" for line in ["#", "tc,x_c", *lines])
    outcomes = list(decoder.feed(Chunk("", text.encode())))
    values = [m.value for m in outcomes if isinstance(m, Measurement) and m.channel == "tc"]
    return [v for v in values if v is not None], [
        str(e) for e in outcomes if isinstance(e, Exception)
    ]


def test_volts_where_millivolts_are_expected_are_questioned() -> None:
    values, questioned = csv_values("type-k mV=*,cj=25", ["0.004096,1"] * 8)
    assert values[0] == pytest.approx(25.1, abs=0.1)  # the pit is at 124
    assert len(questioned) == 1
    assert "a board that sends volts is read wrong" in questioned[0]


def test_volts_are_read_where_the_conversion_says_so() -> None:
    assert csv_values("type-k V=*,cj=25", ["0.004096,1"])[0] == [pytest.approx(124.31, abs=0.01)]


def test_a_cold_probe_that_warms_is_not_questioned() -> None:
    lines = [f"{0.03 * step:.3f},1" for step in range(60)]
    assert not csv_values("type-k mV=*,cj=25", lines)[1]


# 1-Wire sensors of this host


async def test_a_pulled_one_of_two_is_told_within_its_interval(tmp_path: Path) -> None:
    good = "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=21500\n"
    for sensor in ("28-000000000001", "28-000000000002"):
        (tmp_path / sensor).mkdir()
        (tmp_path / sensor / "w1_slave").write_text(good)
    bench = Bench()
    async with bench.supervisor:
        bench.start("w1", root=tmp_path, every_s=0.05)
        await bench.value("temperature/28-000000000002", 21.5)
        (tmp_path / "28-000000000002/w1_slave").unlink()
        (tmp_path / "28-000000000002").rmdir()
        await bench.value("temperature/28-000000000002", None)
        pulled = bench.latest.get("temperature/28-000000000002")
        assert pulled is not None
        assert pulled.quality is Quality.OPEN
        bench.found.clear()
        await bench.value("temperature/28-000000000001", 21.5)
        assert bench.supervisor.standing("d").link is Link.UP


# Modbus


def reply(unit: int, *registers: int) -> bytes:
    body = b"".join(register.to_bytes(2, "big") for register in registers)
    frame = bytes((unit, 3, len(body))) + body
    return frame + crc16(frame).to_bytes(2, "little")


async def answering(port: PseudoPort, echo: bool, answer: bytes) -> None:
    """Play a unit behind an adapter that may repeat what is sent."""
    while True:
        await asyncio.sleep(0.005)
        request = port.read()
        if len(request) >= 8:
            port.write((request if echo else b"") + answer)


async def test_an_adapter_that_echoes_is_read_all_the_same(port: PseudoPort) -> None:
    playing = asyncio.create_task(answering(port, True, reply(1, 1074)))
    bench = Bench()
    async with bench.supervisor:
        bench.start("modbus", port=str(port.path), map=MAP, every_s=0.02, patience_s=0.1)
        await bench.value("register-0", 107.4)
    playing.cancel()
    await asyncio.wait({playing})


@pytest.mark.parametrize(
    ("echo", "answer", "words"),
    [
        (True, b"", "the adapter repeats what is sent"),
        (False, reply(1, 1074)[:-1] + b"\x00", "came damaged"),
        (False, b"", "did not answer 3 times in a row"),
    ],
)
async def test_echo_damage_and_silence_are_told_apart(
    port: PseudoPort, echo: bool, answer: bytes, words: str
) -> None:
    playing = asyncio.create_task(answering(port, echo, answer))
    bench = Bench()
    async with bench.supervisor:
        bench.start("modbus", port=str(port.path), map=MAP, every_s=0.01, patience_s=0.05)
        await until(lambda: any(words in said for _, said in bench.said))
    playing.cancel()
    await asyncio.wait({playing})


async def test_a_unit_in_the_network_is_read(unused_tcp_port: int) -> None:
    held = SimDevice(1, SimData(0, values=[1074, 0], datatype=DataType.REGISTERS))
    server = ModbusTcpServer(held, address=("127.0.0.1", unused_tcp_port))
    serving = asyncio.create_task(server.serve_forever())
    bench = Bench()
    async with bench.supervisor:
        bench.start("modbus", host="127.0.0.1", tcp_port=unused_tcp_port, map=MAP, every_s=0.02)
        await bench.value("register-0", 107.4)
    await server.shutdown()  # type: ignore[no-untyped-call]
    await asyncio.wait({serving})


async def test_nobody_in_the_network_is_told(unused_tcp_port: int) -> None:
    bench = Bench()
    async with bench.supervisor:
        bench.start("modbus", host="127.0.0.1", tcp_port=unused_tcp_port, map=MAP, patience_s=0.2)
        await until(lambda: any("nobody answers at 127.0.0.1" in said for _, said in bench.said))


@pytest.mark.parametrize("keys", [{}, {"port": "x", "host": "y"}])
def test_a_unit_has_one_way(keys: dict[str, Any]) -> None:
    with pytest.raises(ConfigError, match="either its serial port or"):
        configure(Registry().load("modbus").info, {"map": MAP, **keys}, "test")


# HID


def test_a_scale_has_its_udev_rule(tmp_path: Path) -> None:
    device = tmp_path / "hidraw3/device"
    device.mkdir(parents=True)
    (device / "report_descriptor").write_bytes(bytes.fromhex("058d0920a101"))
    (device / "uevent").write_text("HID_ID=0003:00001A2B:00003C4D\nHID_UNIQ=77\n")
    (node,) = nodes(tmp_path)
    assert node.rule == (
        'KERNEL=="hidraw*", ATTRS{idVendor}=="1a2b", ATTRS{idProduct}=="3c4d", '
        'GROUP="pitlogger", MODE="0660"'
    )
