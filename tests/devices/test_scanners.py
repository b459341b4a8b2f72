"""Scanners: lines over a pty, keys as the kernel sends them, and what both come to."""

from __future__ import annotations

import asyncio
import os
import socket
from pathlib import Path

import pytest

from pitlogger.devices.contract import Chunk, Measurement
from pitlogger.devices.registry import Registry, configure
from pitlogger.devices.supervisor import Device, Supervisor
from pitlogger.devices.transports.evdev import KeyboardSettings, grab
from pitlogger.devices.transports.hidraw import HidTransport
from pitlogger.errors import DecodeError, TransportError
from pitlogger.testing import PseudoPort, until
from pitlogger_drivers.code_scanner.decode import EVENT, KeyboardDecoder

SHIFT, CONTROL, ENTER = 42, 29, 28


def keys(*codes: int) -> bytes:
    """Return keys pressed and let go, each with the reports that the kernel puts between."""
    made = b""
    for code in codes:
        made += EVENT.pack(1, 2, 4, 4, 458_756) + EVENT.pack(1, 2, 1, code, 1)
        made += EVENT.pack(1, 2, 0, 0, 0) + EVENT.pack(1, 3, 1, code, 0)
    return made


def held(modifier: int, *codes: int) -> bytes:
    return EVENT.pack(0, 0, 1, modifier, 1) + keys(*codes) + EVENT.pack(0, 0, 1, modifier, 0)


def codes_of(data: bytes) -> list[str]:
    """Return the codes that key events spell."""
    found = KeyboardDecoder().feed(Chunk("", data))
    return [one.text if isinstance(one, Measurement) else str(one) for one in found]


PLT = held(SHIFT, 25, 38, 20, 39)  # P L T :


@pytest.mark.parametrize(
    ("data", "text"),
    [(PLT + keys(25, 30, 49, ENTER), "PLT:pan"), (PLT + keys(3, 57, 4, 96), "PLT:2 3"),
     (keys(11, 2) + held(CONTROL, 27) + keys(2, 11, 30, 15), "01\x1d10a"),
     (EVENT.pack(0, 0, 1, 30, 1) + EVENT.pack(0, 0, 1, 30, 2) * 5 + keys(ENTER), "a")],
)  # fmt: skip
def test_keys_spell_a_code(data: bytes, text: str) -> None:
    assert codes_of(data) == [text]


def test_keys_come_in_any_pieces_and_a_shift_that_stays_down_is_followed() -> None:
    decoder, data = KeyboardDecoder(), PLT + keys(25, ENTER)
    found = [
        one for at in range(0, len(data), 7) for one in decoder.feed(Chunk("", data[at : at + 7]))
    ]
    assert [one.text for one in found if isinstance(one, Measurement)] == ["PLT:p"]


@pytest.mark.parametrize(
    "data", [keys(ENTER), keys(1, 59, 103, ENTER), keys(57, 57, ENTER), b"\x01" * 23]
)
def test_keys_that_spell_nothing_are_nothing(data: bytes) -> None:
    assert codes_of(data) == []


def test_a_key_that_hangs_is_refused_once_it_is_too_long() -> None:
    found = KeyboardDecoder().feed(Chunk("", keys(*[30] * 300)))
    assert [type(one) for one in found if isinstance(one, DecodeError)]


async def test_lines_of_a_scanner_come_through_its_port(tmp_path: Path) -> None:
    heard: list[Measurement] = []
    driver = Registry().load("line-scanner")
    with PseudoPort(tmp_path / "port") as port:
        own = configure(driver.info, {"port": str(tmp_path / "port")}, "test")
        async with Supervisor(lambda _d, one: heard.append(one), lambda *_: None) as supervisor:
            supervisor.start(Device("scanner", driver({}), own))
            await until(lambda: supervisor.links()["scanner"] is not None)
            port.write(b"PLP::brisket-1\r\n\x00\xff\r]C101\x1d10\r")
            await until(lambda: len(heard) == 2)
            assert len(supervisor.refused("scanner")) == 1
    assert [one.text for one in heard] == ["PLP::brisket-1", "]C101\x1d10"]


async def test_a_keyboard_is_read_until_it_is_unplugged(tmp_path: Path) -> None:
    node = tmp_path / "kbd"
    node.touch()
    ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    ours.setblocking(False)
    async with HidTransport(KeyboardSettings(str(node)), lambda _: ours.detach()) as transport:
        theirs.send(keys(30)[:48])
        chunks = transport.chunks()
        async with asyncio.timeout(3):
            assert (await anext(chunks)).data == keys(30)[:48]
            theirs.close()
            with pytest.raises(TransportError, match="went away"):
                await anext(chunks)


async def test_a_keyboard_that_is_not_there_or_none_at_all_is_named(tmp_path: Path) -> None:
    gone = HidTransport(KeyboardSettings(str(tmp_path / "kbd")), grab)
    with pytest.raises(TransportError, match=r"there is no .*kbd"):
        await gone.__aenter__()
    (tmp_path / "file").write_text("no keyboard", encoding="utf-8")
    before = len(os.listdir("/proc/self/fd"))
    with pytest.raises(TransportError, match="cannot be opened"):
        await HidTransport(KeyboardSettings(str(tmp_path / "file")), grab).__aenter__()
    assert len(os.listdir("/proc/self/fd")) == before
