"""A serial port without a cable behaves like one with a plug."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from pathlib import Path

import pytest

from pitlogger.devices.transports.serial import SerialSettings, SerialTransport
from pitlogger.errors import TransportError
from pitlogger_simulators.devices.ports import PtyPort


@pytest.fixture
def port(tmp_path: Path) -> Iterator[PtyPort]:
    made = PtyPort(tmp_path / "tty-scale")
    yield made
    made.unplug()


async def test_bytes_arrive_through_the_real_transport(port: PtyPort) -> None:
    async with SerialTransport(SerialSettings(str(port.path))) as transport:
        port.write(b"ST,GS,+  1.234kg\r\n")
        async with asyncio.timeout(2):
            async for chunk in transport.chunks():
                assert chunk.data == b"ST,GS,+  1.234kg\r\n"
                break


async def test_unplugging_is_noticed(port: PtyPort) -> None:
    async with SerialTransport(SerialSettings(str(port.path))) as transport:
        port.unplug()
        with pytest.raises(TransportError, match="went away"):
            await asyncio.wait_for(anext(transport.chunks()), 2)


async def test_the_name_points_at_the_port_that_is_plugged_in_again(port: PtyPort) -> None:
    port.unplug()
    assert not port.path.exists()
    port.plug()
    async with SerialTransport(SerialSettings(str(port.path))) as transport:
        await transport.send(b"T\r\n")
        assert port.read() == b"T\r\n"


def test_writing_with_nobody_at_the_other_end_does_not_block(port: PtyPort) -> None:
    for _ in range(2000):
        port.write(b"ST,GS,+  1.234kg\r\n")
