"""Devices that are only listened to: a word is the sign of life, and some seldom say one."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from typing import Any, ClassVar

import pytest

from pitlogger.devices.contract import (
    ChannelInfo,
    Chunk,
    DriverBase,
    DriverConfig,
    DriverInfo,
    EventDriven,
    Measurement,
    Memory,
)
from pitlogger.devices.registry import Registry, configure
from pitlogger.devices.runner import NEVER_READ
from pitlogger.devices.supervisor import Device, Link, Supervisor
from pitlogger.model.quantities import Quantity
from pitlogger.testing import until

SILENCE_S = 0.05
PRESS, MEASURED = bytes.fromhex("443a01"), bytes.fromhex("4002ca09")


class Ether:
    """What is on the air; as a transport it only listens."""

    only_listens: ClassVar[bool] = True

    def __init__(self) -> None:
        self.words: asyncio.Queue[tuple[str, bytes]] = asyncio.Queue()
        self.opened = 0

    async def __aenter__(self) -> Ether:
        self.opened += 1
        return self

    async def __aexit__(self, *exc: object) -> None:
        return None

    async def send(self, data: bytes) -> None:
        raise AssertionError

    async def chunks(self) -> AsyncIterator[Chunk]:
        while True:
            yield Chunk(*await self.words.get())


class Ear:
    """A decoder that counts what it hears; ``speaks_on_events`` is set by the test."""

    def __init__(self) -> None:
        self.speaks_on_events = False

    def feed(self, chunk: Chunk) -> list[Measurement]:
        return [Measurement("mass", Quantity.MASS, float(len(chunk.data)), "g")]


class Listener(DriverBase):
    """Joins the two."""

    info: ClassVar[DriverInfo] = DriverInfo(
        "listener", "listens", "ble-advertisement",
        (ChannelInfo("mass", Quantity.MASS, "g"),), 1.0, SILENCE_S,
    )  # fmt: skip

    def __init__(self) -> None:
        super().__init__({})
        self.ether, self.ear = Ether(), Ear()

    def decoder(self, config: DriverConfig) -> Ear:
        return self.ear

    def transport(self, config: DriverConfig) -> Ether:
        return self.ether


async def listened_to(do: Callable[[Listener, list[Any]], Any]) -> tuple[Listener, list[Any]]:
    """Run a listener while ``do`` does its things; return it and what was told."""
    said: list[Any] = []
    listener = Listener()
    async with Supervisor(lambda *_: None, lambda *told: said.append(told[1:3])) as supervisor:
        supervisor.start(Device("a", listener, DriverConfig()))
        await until(lambda: listener.ether.opened == 1)
        await do(listener, said)
    return listener, said


async def test_it_is_told_as_up_when_it_is_heard_and_not_before() -> None:
    async def hear(listener: Listener, said: list[Any]) -> None:
        assert said == []
        listener.ether.words.put_nowait(("", b"x"))
        await until(lambda: bool(said))

    assert (await listened_to(hear))[1] == [(Link.UP, "it speaks")]


async def test_after_a_silence_the_next_word_is_heard_without_starting_anew() -> None:
    async def fall_silent(listener: Listener, said: list[Any]) -> None:
        await until(lambda: len(said) == 1)
        listener.ether.words.put_nowait(("", b"x"))
        await until(lambda: len(said) == 2)

    listener, said = await listened_to(fall_silent)
    assert said == [(Link.LOST, "nothing came for 0.05 s"), (Link.UP, "it speaks")]
    assert listener.ether.opened == 1


async def test_what_speaks_only_when_something_happens_may_be_silent() -> None:
    async def press(listener: Listener, said: list[Any]) -> None:
        listener.ear.speaks_on_events = True
        listener.ether.words.put_nowait(("", b"x"))
        await until(lambda: bool(said))
        with pytest.raises(TimeoutError):
            await until(lambda: len(said) > 1, 3 * SILENCE_S)

    assert (await listened_to(press))[1] == [(Link.UP, "it speaks")]


async def test_a_signal_that_is_heard_is_no_sign_that_frames_can_be_read() -> None:
    driver = Registry().load("bthome")

    class Heard(driver):  # type: ignore[misc,valid-type]
        ether = Ether()

        def transport(self, config: Any) -> Ether:
            return self.ether

    config = configure(driver.info, {"address": "02:00:00:00:00:10", "key": "00" * 16}, "test")
    said: list[Any] = []
    async with Supervisor(lambda *_: None, lambda *told: said.append(told[1])) as supervisor:
        supervisor.start(Device("a", Heard({}), config))
        for _ in range(NEVER_READ):
            Heard.ether.words.put_nowait(("rssi", b"\xc4"))
            Heard.ether.words.put_nowait(("", PRESS))  # plain, and its key is known
        await until(lambda: said == [Link.UP, Link.LOST])
        Heard.ether.words.put_nowait(("rssi", b"\xc4"))
        with pytest.raises(TimeoutError):
            await until(lambda: len(said) > 2, SILENCE_S)


def test_a_button_is_known_by_its_frame_and_over_a_restart() -> None:
    driver = Registry().load("bthome")
    config = configure(driver.info, {"address": "02:00:00:00:00:10"}, "test")
    memory: Memory = {}

    def made() -> EventDriven:
        decoder = driver(memory).decoder(config)
        assert isinstance(decoder, EventDriven)
        return decoder

    decoder = made()
    assert not decoder.speaks_on_events
    list(decoder.feed(Chunk("", PRESS)))
    assert made().speaks_on_events
    list(decoder.feed(Chunk("", MEASURED)))
    assert not made().speaks_on_events
