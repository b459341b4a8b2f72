"""Modbus transmitters and MQTT brokers, emulated; real client libraries."""

from __future__ import annotations

import asyncio
import struct
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from pitlogger.devices.registry import Registry, configure
from pitlogger.devices.supervisor import Link
from pitlogger.errors import ConfigError
from pitlogger.testing import PseudoPort, until
from pitlogger_drivers.modbus.decode import crc16
from tests.devices.bench import Bench

MAP = "0:i16:0.1:Cel,1:f32-be:1:Cel"
REGISTERS = struct.pack(">hf", 1074, 121.25)


@asynccontextmanager
async def unit(port: PseudoPort, reply: bytes) -> AsyncIterator[list[bytes]]:
    """Be a Modbus unit that gives one reply to every request; yields the requests."""
    requests: list[bytes] = []
    loop = asyncio.get_running_loop()

    def on_request() -> None:
        data = port.read()
        if data:
            requests.append(data)
            port.write(reply + crc16(reply).to_bytes(2, "little") if reply else b"")

    loop.add_reader(port.fileno(), on_request)
    yield requests
    loop.remove_reader(port.fileno())


async def test_registers_of_a_transmitter_become_channels(port: PseudoPort) -> None:
    bench = Bench()
    reply = bytes((5, 4, len(REGISTERS))) + REGISTERS
    async with unit(port, reply) as requests, bench.supervisor:
        bench.start("modbus", port=str(port.path), unit=5, function=4, map=MAP, every_s=0.05)
        await until(lambda: len(bench.values) == 2)
    assert bench.values == {"register-0": 107.4, "register-1": 121.25}
    assert requests[0][:6] == bytes((5, 4, 0, 0, 0, 3))


async def test_a_unit_that_refuses_is_named_with_the_exception(port: PseudoPort) -> None:
    bench = Bench()
    async with unit(port, bytes((1, 0x83, 2))), bench.supervisor:
        bench.start("modbus", port=str(port.path), map=MAP)
        await until(lambda: Link.LOST in [link for link, _ in bench.said])
    assert "refused with exception 2" in bench.said[-1][1]


async def test_a_silent_unit_is_lost(port: PseudoPort) -> None:
    bench = Bench()
    async with unit(port, b"") as requests, bench.supervisor:
        bench.start("modbus", port=str(port.path), map=MAP, patience_s=0.02, every_s=0.01)
        await until(lambda: Link.LOST in [link for link, _ in bench.said])
    assert "did not answer 3 times" in bench.said[-1][1]
    assert len(b"".join(requests)) >= 3 * 8


async def test_a_modbus_port_that_is_not_there_is_told(tmp_path: Path) -> None:
    bench = Bench()
    async with bench.supervisor:
        bench.start("modbus", port=str(tmp_path / "none"), map=MAP)
        await until(lambda: bool(bench.said))
    assert "there is no serial port" in bench.said[0][1]


def test_a_map_that_is_none_is_refused_with_an_example() -> None:
    info = Registry().load("modbus").info
    with pytest.raises(ConfigError, match=r"0:i16:0\.1:Cel"):
        configure(info, {"port": "x", "map": ""}, "test")


class Broker:
    """The least of an MQTT 3.1.1 broker: takes one client, lets it subscribe, publishes.

    Source: MQTT 3.1.1, 2.2 (packet types), 3.2 (CONNACK), 3.9 (SUBACK), 3.3 (PUBLISH).
    """

    def __init__(self, accept: bool = True) -> None:
        self._code = 0 if accept else 5
        self.writer: asyncio.StreamWriter | None = None
        self.subscribed = asyncio.Event()

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Talk to one client."""
        self.writer = writer
        try:
            while True:
                kind, length = await reader.readexactly(2)
                body = await reader.readexactly(length)
                if kind >> 4 == 1:
                    writer.write(bytes((0x20, 2, 0, self._code)))
                elif kind >> 4 == 8:
                    writer.write(bytes((0x90, 3)) + body[:2] + b"\x00")
                    self.subscribed.set()
        except (asyncio.IncompleteReadError, ConnectionError):
            writer.close()

    def publish(self, topic: bytes, payload: bytes) -> None:
        """Send a message, quality 0."""
        assert self.writer is not None
        body = len(topic).to_bytes(2, "big") + topic + payload
        self.writer.write(bytes((0x30, len(body))) + body)


@asynccontextmanager
async def serving(broker: Broker) -> AsyncIterator[int]:
    """Run a broker; yields its port."""
    server = await asyncio.start_server(broker.serve, "127.0.0.1", 0)
    try:
        yield server.sockets[0].getsockname()[1]
    finally:
        server.close()
        if broker.writer is not None:
            broker.writer.close()
        await until(lambda: len(asyncio.all_tasks()) <= 1)


async def test_senml_packs_become_channels_by_their_names() -> None:
    bench, broker = Bench(), Broker()
    async with serving(broker) as port, bench.supervisor:
        bench.start("mqtt-senml", host="127.0.0.1", port=port, topic="s/#")
        await broker.subscribed.wait()
        broker.publish(b"s/1", b'[{"bn":"s/","n":"pit","u":"Cel","v":107.4}]')
        await until(lambda: bench.values == {"s/pit": 107.4})


async def test_a_broken_pack_does_not_hide_the_next_one() -> None:
    bench, broker = Bench(), Broker()
    async with serving(broker) as port, bench.supervisor:
        bench.start("mqtt-senml", host="127.0.0.1", port=port, topic="s/#")
        await broker.subscribed.wait()
        broker.publish(b"s/1", b"nonsense")
        broker.publish(b"s/1", b'[{"n":"pit","u":"K","v":380.55}]')
        await until(lambda: "pit" in bench.values)
        assert "not a SenML pack" in bench.supervisor.refused("d")[0].reason
    assert bench.values["pit"] == pytest.approx(107.4)


async def test_a_broker_that_is_not_there_is_told_with_a_remedy() -> None:
    bench = Bench()
    async with serving(Broker()) as port:
        pass
    async with bench.supervisor:
        bench.start("mqtt-senml", host="127.0.0.1", port=port, topic="s/#")
        await until(lambda: bool(bench.said))
    assert "Check that it runs" in bench.said[0][1]


async def test_a_broker_that_refuses_is_told() -> None:
    bench, broker = Bench(), Broker(accept=False)
    async with serving(broker) as port, bench.supervisor:
        bench.start("mqtt-senml", host="127.0.0.1", port=port, topic="s/#")
        await until(lambda: bool(bench.said))
    assert bench.said[0][0] is Link.LOST


async def test_a_broker_that_goes_is_a_loss() -> None:
    bench, broker = Bench(), Broker()
    async with serving(broker) as port, bench.supervisor:
        bench.start("mqtt-senml", host="127.0.0.1", port=port, topic="s/#")
        await broker.subscribed.wait()
        assert broker.writer is not None
        broker.writer.close()
        await until(lambda: Link.LOST in [link for link, _ in bench.said])
