"""Serial ports, on pseudo-terminals."""

from __future__ import annotations

import asyncio
import errno
from collections.abc import AsyncGenerator, AsyncIterator
from pathlib import Path

import pytest

from pitlogger.devices.contract import Chunk
from pitlogger.devices.transports.asking import AskingTransport
from pitlogger.devices.transports.serial import SerialSettings, SerialTransport, open_error
from pitlogger.errors import ConfigError, TransportError
from pitlogger.testing import PseudoPort, until


async def aclose(stream: AsyncIterator[Chunk]) -> None:
    """End a stream that is not read to its end."""
    assert isinstance(stream, AsyncGenerator)
    await stream.aclose()


def settings(port: PseudoPort) -> SerialSettings:
    """The port's settings."""
    return SerialSettings(str(port.path))


async def gather(stream: AsyncIterator[Chunk], count: int) -> bytes:
    """Return the next bytes, at least ``count``."""
    raw = b""
    async with asyncio.timeout(3):
        while len(raw) < count:
            raw += (await anext(stream)).data
    return raw


async def test_bytes_arrive_as_sent(port: PseudoPort) -> None:
    async with SerialTransport(settings(port)) as transport:
        port.write(bytes(range(256)))
        assert await gather(transport.chunks(), 256) == bytes(range(256))


async def test_requests_reach_the_device(port: PseudoPort) -> None:
    async with SerialTransport(settings(port)) as transport:
        await transport.send(b"\nW\r")
        await until(lambda: True)
        assert port.read() == b"\nW\r"


async def test_an_unplugged_port_ends_the_stream(port: PseudoPort) -> None:
    async with SerialTransport(settings(port)) as transport:
        port.unplug()
        with pytest.raises(TransportError, match="went away"):
            await gather(transport.chunks(), 1)


async def test_bytes_sent_before_the_unplugging_are_not_lost(port: PseudoPort) -> None:
    async with SerialTransport(settings(port)) as transport:
        stream = transport.chunks()
        port.write(b"1.234 kg\r\n")
        assert await gather(stream, 10) == b"1.234 kg\r\n"
        port.unplug()
        with pytest.raises(TransportError):
            await gather(stream, 1)


async def test_a_port_is_read_again_after_a_replug(port: PseudoPort) -> None:
    for _ in range(3):
        async with SerialTransport(settings(port)) as transport:
            port.write(b"x")
            assert await gather(transport.chunks(), 1) == b"x"
        port.unplug()
        port.plug()


async def test_a_missing_port_names_the_remedy(tmp_path: Path) -> None:
    with pytest.raises(TransportError, match=r"there is no serial port .*by-id"):
        await SerialTransport(SerialSettings(str(tmp_path / "none"))).__aenter__()


async def test_a_busy_port_is_refused_and_said_so(port: PseudoPort) -> None:
    async with SerialTransport(settings(port)):
        with pytest.raises(TransportError, match="held by another program"):
            await SerialTransport(settings(port)).__aenter__()


async def test_a_folder_is_no_port(tmp_path: Path) -> None:
    with pytest.raises(TransportError):
        await SerialTransport(SerialSettings(str(tmp_path))).__aenter__()


def test_a_forbidden_port_names_the_group() -> None:
    error = open_error(SerialSettings("/dev/ttyUSB0"), PermissionError(errno.EACCES, "denied"))
    assert "dialout" in error.remedy


def test_an_unknown_framing_is_refused() -> None:
    with pytest.raises(ConfigError, match="7E1"):
        SerialSettings("/dev/ttyUSB0", framing="9X3")


async def test_a_missing_port_is_noticed_when_it_comes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pitlogger.devices.transports.paths.LOOK_S", 0.01)
    port = PseudoPort(tmp_path / "scale")
    waiting = asyncio.ensure_future(SerialTransport(settings(port)).appears())
    await asyncio.sleep(0)
    assert not waiting.done()
    with port:
        await asyncio.wait_for(waiting, 3)


async def test_a_device_is_asked_again_when_it_has_answered(port: PseudoPort) -> None:
    asking = AskingTransport(SerialTransport(settings(port)), b"?", 0.02, patience_s=1.0)
    async with asking:
        stream = asking.chunks()
        answer = asyncio.ensure_future(gather(stream, 2))
        asked = 0
        while asked < 2:
            await until(lambda: bool(port.read()))
            asked += 1
            port.write(b"!")
        assert await answer == b"!!"
        await aclose(stream)


async def test_a_device_that_never_answers_is_lost(port: PseudoPort) -> None:
    asking = AskingTransport(
        SerialTransport(settings(port)), b"?", 0.01, patience_s=0.02, after_silence=b"*CLS\n"
    )
    async with asking:
        with pytest.raises(TransportError, match="no answer to 3 questions"):
            await gather(asking.chunks(), 1)
        assert port.read() == b"?*CLS\n?*CLS\n?"
