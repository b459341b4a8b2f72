"""A Modbus unit that refuses, is busy, silent or sends nonsense: told in words, all else goes on.

The unit in the network is the server of pymodbus; what no sound server sends is written by hand.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

import pytest
from pymodbus.constants import ExcCodes
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from pitlogger.devices.supervisor import Link
from pitlogger.model.readings import Quality
from pitlogger.testing import PseudoPort, until
from pitlogger_drivers.modbus.decode import crc16
from tests.devices.bench import Bench

MAP = "0:i16:0.1:Cel"
TWO = {0: [1074, 205]}


class Unit:
    """What a unit in the network answers next: its registers, or an exception."""

    def __init__(self) -> None:
        self.refusals: list[ExcCodes] = []  # the next answers
        self.always: ExcCodes | None = None
        self.asked = 0

    async def act(
        self, _function: int, _start: int, _address: int, _count: int, _now: list[int], _set: object
    ) -> ExcCodes | None:
        self.asked += 1
        return self.refusals.pop(0) if self.refusals else self.always


@asynccontextmanager
async def in_network(port: int, held: dict[int, list[int]] = TWO) -> AsyncIterator[Unit]:
    """Run a unit in the network; ``held``: its registers from an address on."""
    unit = Unit()
    data = [SimData(at, values=one, datatype=DataType.REGISTERS) for at, one in held.items()]
    server = ModbusTcpServer(SimDevice(1, data, action=unit.act), address=("127.0.0.1", port))
    await server.serve_forever(background=True)
    try:
        yield unit
    finally:
        await server.shutdown()  # type: ignore[no-untyped-call]


@asynccontextmanager
async def answering(port: int, answer: Callable[[bytes], bytes]) -> AsyncIterator[None]:
    """Answer each request on a port of the network with bytes made by hand."""

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while request := await reader.read(260):
            writer.write(answer(request))
        writer.close()

    server = await asyncio.start_server(serve, "127.0.0.1", port)
    async with server:
        yield
    await until(lambda: len(asyncio.all_tasks()) <= 1)


def said(bench: Bench) -> str:
    return "\n".join(words for _, words in bench.said)


@pytest.mark.parametrize(
    ("code", "meaning", "remedy"),
    [
        (ExcCodes.ILLEGAL_FUNCTION, "illegal function", "set function = 4"),
        (ExcCodes.ILLEGAL_ADDRESS, "illegal data address", "count from 1, 30001 or 40001"),
        (ExcCodes.ILLEGAL_VALUE, "illegal data value", "a shorter map"),
        (ExcCodes.DEVICE_FAILURE, "server device failure", "Switch it off and on"),
        (ExcCodes.MEMORY_PARITY_ERROR, "memory parity error", "replace it"),
        (ExcCodes.GATEWAY_PATH_UNAVIABLE, "gateway path unavailable", "the gateway's own settings"),
        (ExcCodes.GATEWAY_NO_RESPONSE, "gateway target device failed to respond", "behind it"),
    ],
)
async def test_a_refusal_is_told_in_the_words_of_its_table(
    code: ExcCodes, meaning: str, remedy: str, unused_tcp_port: int
) -> None:
    bench = Bench()
    async with in_network(unused_tcp_port) as unit, bench.supervisor:
        unit.always = code
        bench.start("modbus", host="127.0.0.1", tcp_port=unused_tcp_port, map=MAP, every_s=0.01)
        await until(lambda: any(link is Link.LOST for link, _ in bench.said))
    assert f"exception {int(code)}, {meaning}" in said(bench)
    assert remedy in said(bench)


async def test_an_exception_of_no_table_is_told_by_its_number(unused_tcp_port: int) -> None:
    bench = Bench()

    def answer(request: bytes) -> bytes:
        return request[:4] + b"\x00\x03\x01\x83\x63"

    async with answering(unused_tcp_port, answer), bench.supervisor:
        bench.start("modbus", host="127.0.0.1", tcp_port=unused_tcp_port, map=MAP, every_s=0.01)
        await until(lambda: any(link is Link.LOST for link, _ in bench.said))
    assert "exception 99, which the standard does not know" in said(bench)


@pytest.mark.parametrize("code", [ExcCodes.DEVICE_BUSY, ExcCodes.ACKNOWLEDGE])
async def test_one_that_is_busy_is_asked_again_and_keeps_its_link(
    code: ExcCodes, unused_tcp_port: int
) -> None:
    bench = Bench()
    async with in_network(unused_tcp_port) as unit, bench.supervisor:
        bench.start("modbus", host="127.0.0.1", tcp_port=unused_tcp_port, map=MAP, every_s=0.01)
        await bench.value("register-0", 107.4)
        unit.refusals = [code] * 5
        await bench.value("register-0", None)
        told = bench.latest.get("register-0")
        assert told is not None
        assert told.quality is Quality.FAULT
        await bench.value("register-0", 107.4)
    assert all(link is Link.UP for link, _ in bench.said)
    assert f"exception {int(code)}" in said(bench)
    assert "asked again" in said(bench)


async def test_registers_that_lie_apart_are_read_each_alone(unused_tcp_port: int) -> None:
    held = {0: [1074], 40: [0x42F2, 0x8000], 300: [205]}
    bench = Bench()
    async with in_network(unused_tcp_port, held), bench.supervisor:
        bench.start(
            "modbus", host="127.0.0.1", tcp_port=unused_tcp_port, every_s=0.01,
            map="0:i16:0.1:Cel,40:f32-be:1:Cel,60:i16:0.1:Cel,300:i16:0.1:Cel",
        )  # fmt: skip
        await bench.value("register-0", 107.4)
        await bench.value("register-40", 121.25)
        await bench.value("register-300", 20.5)
        await bench.value("register-60", None)
        lacking = bench.latest.get("register-60")
        assert lacking is not None
        assert lacking.quality is Quality.FAULT
        await until(lambda: "illegal data address" in said(bench))
    assert all(link is Link.UP for link, _ in bench.said)
    assert len(bench.said) == 2


@pytest.mark.parametrize("register", [200, 300])
async def test_a_register_far_behind_is_asked_for_alone(
    register: int, unused_tcp_port: int
) -> None:
    bench = Bench()
    async with in_network(unused_tcp_port, {0: [1074] * 310}), bench.supervisor:
        bench.start(
            "modbus", host="127.0.0.1", tcp_port=unused_tcp_port, every_s=0.01,
            map=f"{register}:i16:0.1:Cel",
        )  # fmt: skip
        await bench.value(f"register-{register}", 107.4)
    assert [link for link, _ in bench.said] == [Link.UP]


async def test_one_refusal_of_another_kind_is_no_loss_either(unused_tcp_port: int) -> None:
    bench = Bench()
    async with in_network(unused_tcp_port) as unit, bench.supervisor:
        bench.start("modbus", host="127.0.0.1", tcp_port=unused_tcp_port, map=MAP, every_s=0.01)
        await bench.value("register-0", 107.4)
        unit.refusals = [ExcCodes.GATEWAY_NO_RESPONSE, ExcCodes.DEVICE_FAILURE]
        await bench.value("register-0", None)
        await bench.value("register-0", 107.4)
    assert all(link is Link.UP for link, _ in bench.said)


async def test_a_silent_unit_in_the_network_is_told_without_wires(unused_tcp_port: int) -> None:
    bench = Bench()
    async with answering(unused_tcp_port, lambda _: b""), bench.supervisor:
        bench.start(
            "modbus", host="127.0.0.1", tcp_port=unused_tcp_port, map=MAP, unit=7,
            every_s=0.01, patience_s=0.05,
        )  # fmt: skip
        await until(lambda: any(link is Link.LOST for link, _ in bench.said))
    assert f"127.0.0.1:{unused_tcp_port}" in said(bench)
    assert "unit 7 did not answer 3 times in a row" in said(bench)
    assert "unit number" in said(bench)
    for serial in ("baud", "polarity", "framing", "CRC", "one master"):
        assert serial not in said(bench)


async def test_a_network_unit_that_hangs_up_is_told_without_a_plug(unused_tcp_port: int) -> None:
    bench = Bench()
    writers: list[asyncio.StreamWriter] = []

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writers.append(writer)
        await reader.read(260)
        writer.close()

    server = await asyncio.start_server(serve, "127.0.0.1", unused_tcp_port)
    async with server, bench.supervisor:
        bench.start(
            "modbus", host="127.0.0.1", tcp_port=unused_tcp_port, map=MAP,
            every_s=0.01, patience_s=0.05,
        )  # fmt: skip
        await until(lambda: any(link is Link.LOST for link, _ in bench.said))
    assert "closed the connection" in said(bench)
    assert "one connection" in said(bench)
    assert "plug" not in said(bench)


BROKEN = {
    "more bytes named than came": b"\x00\x00\x00\x05\x01\x03\x06\x04\x32",
    "an odd number of bytes": b"\x00\x00\x00\x06\x01\x03\x03\x04\x32\x00",
    "no bytes at all": b"\x00\x00\x00\x03\x01\x03\x00",
    "fewer registers than were asked": b"\x00\x00\x00\x02\x01\x03",
    "another function": b"\x00\x00\x00\x05\x01\x01\x02\x04\x32",
    "an unknown function": b"\x00\x00\x00\x05\x01\x80\x02\x04\x32",
    "an exception without its number": b"\x00\x00\x00\x02\x01\x83",
    "another protocol": b"\x12\x34\x00\x05\x01\x03\x02\x04\x32",
    "a length beyond what came": b"\x00\x00\x00\xff\x01\x03\x02\x04\x32",
}


@pytest.mark.parametrize("kind", BROKEN)
async def test_a_broken_frame_is_a_sentence_and_no_traceback(
    kind: str, unused_tcp_port: int, caplog: pytest.LogCaptureFixture
) -> None:
    bench = Bench()
    caplog.set_level(logging.DEBUG)
    async with (
        answering(unused_tcp_port, lambda request: request[:2] + BROKEN[kind]),
        bench.supervisor,
    ):
        bench.start(
            "modbus", host="127.0.0.1", tcp_port=unused_tcp_port, map=MAP,
            every_s=0.01, patience_s=0.05,
        )  # fmt: skip
        await until(lambda: any(link is Link.LOST for link, _ in bench.said))
    assert "no answer of Modbus TCP" in said(bench)
    assert BROKEN[kind].hex() in said(bench)
    assert "Check the port" in said(bench)
    assert not [one for one in caplog.records if one.exc_info or "Traceback" in one.getMessage()]


async def test_one_broken_frame_is_no_loss(unused_tcp_port: int) -> None:
    bench = Bench()
    broken = [b"\x00\x00\x00\x05\x01\x03\x06\x04\x32"]

    def answer(request: bytes) -> bytes:
        good = b"\x00\x00\x00\x05\x01\x03\x02\x04\x32"
        return request[:2] + (broken.pop() if broken else good)

    async with answering(unused_tcp_port, answer), bench.supervisor:
        bench.start("modbus", host="127.0.0.1", tcp_port=unused_tcp_port, map=MAP, every_s=0.01)
        await bench.value("register-0", 107.4)
    assert all(link is Link.UP for link, _ in bench.said)
    assert "no answer of Modbus TCP" in said(bench)


async def on_line(port: PseudoPort, bench: Bench, answer: bytes) -> None:
    """Let a unit on a serial line answer everything with the same bytes until it is lost."""
    loop = asyncio.get_running_loop()

    def on_request() -> None:
        if len(port.read()) >= 8:
            port.write(answer + crc16(answer).to_bytes(2, "little"))

    loop.add_reader(port.fileno(), on_request)
    async with bench.supervisor:
        bench.start("modbus", port=str(port.path), map=MAP, every_s=0.01, patience_s=0.05)
        await until(lambda: any(link is Link.LOST for link, _ in bench.said))
    loop.remove_reader(port.fileno())


@pytest.mark.parametrize("answer", ["010100", "01030104", "0103020432ff", "018003", "010380"])
async def test_a_broken_frame_on_a_line_is_a_sentence_and_no_traceback(
    answer: str, port: PseudoPort, caplog: pytest.LogCaptureFixture
) -> None:
    bench = Bench()
    caplog.set_level(logging.DEBUG)
    await on_line(port, bench, bytes.fromhex(answer))
    assert "came damaged" in said(bench)
    assert answer in said(bench)
    assert not [one for one in caplog.records if one.exc_info or "Traceback" in one.getMessage()]


async def test_a_refusal_on_a_line_is_told_in_words(port: PseudoPort) -> None:
    bench = Bench()
    await on_line(port, bench, b"\x01\x83\x02")
    assert "Modbus unit 1 refused with exception 2, illegal data address" in said(bench)
