"""The link to a broker: a real one, and those that refuse, fall silent, or are none."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from pitlogger.testing.waiting import until
from pitlogger.uplink.link import TAKEN_OVER, BrokerError, Link
from tests.system.broker import NEEDS_BROKER, Broker

GOOD = bytes.fromhex("2003000000")
SUBSCRIBED = bytes.fromhex("900400010000")
Talk = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


@asynccontextmanager
async def linked(talk: Talk, heard: list[tuple[str, bytes]] | None = None) -> AsyncIterator[Link]:
    """Connect to a broker that says what it is told to."""

    async def served(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            await talk(reader, writer)
        finally:
            writer.close()

    took = (lambda *_: None) if heard is None else (lambda *said: heard.append(said))
    server = await asyncio.start_server(served, "127.0.0.1", 0)
    at = server.sockets[0].getsockname()[:2]
    async with server, Link(at, None, "p", took) as made:
        yield made


def says(*answers: bytes, then: Talk | None = None) -> Talk:
    """Return a broker that answers each thing it hears with the next of these."""

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        for answer in answers:
            await reader.read(1000)
            writer.write(answer)
        if then is not None:
            await then(reader, writer)

    return talk


async def listens(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    await reader.read()


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        (bytes.fromhex("2003008700"), "refuses it: Not authorized"),
        (bytes.fromhex("20020005"), "MQTT 5|lost"),
        (b"HTTP/1.1 400 Bad Request\r\n" * 9, "lost|no broker"),
        (b"", "lost"),
    ],
)
async def test_who_refuses_is_told(answer: bytes, words: str) -> None:
    with pytest.raises(OSError, match=words):
        async with linked(says(answer)):
            pass


async def test_a_subscription_that_is_refused_is_told() -> None:
    refused = bytes.fromhex("900400010087")
    async with linked(says(GOOD, refused, then=listens)) as link:
        with pytest.raises(BrokerError, match="refuses it: Not authorized"):
            await link.subscribe("fleet/1/p/down")


async def test_another_of_the_same_name_is_told() -> None:
    async with linked(says(GOOD, SUBSCRIBED + bytes.fromhex("e0018e"), then=listens)) as link:
        await link.subscribe("fleet/1/p/down")
        with pytest.raises(BrokerError) as told:
            await link.lost()
    assert told.value.reason == TAKEN_OVER


async def test_a_message_that_comes_in_pieces_is_heard_once() -> None:
    packet = bytes.fromhex("30b002000174") + b"\0" + b"x" * 300

    async def in_pieces(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        for at in range(0, len(packet), 7):
            writer.write(packet[at : at + 7])
            await writer.drain()

    heard: list[tuple[str, bytes]] = []
    async with linked(says(GOOD, SUBSCRIBED, then=in_pieces), heard) as link:
        await link.subscribe("t")
        with pytest.raises(ConnectionError, match="lost"):
            await link.lost()
    assert heard == [("t", b"x" * 300)]


EACH_SECOND = bytes.fromhex("2006000003130001")  # the keepalive that the broker wants


async def test_a_broker_that_falls_silent_is_given_up() -> None:
    async with linked(says(EACH_SECOND, then=listens)) as link:
        with pytest.raises(ConnectionError, match="lost"):
            await asyncio.wait_for(link.lost(), 10)


async def test_who_does_not_read_for_now_gives_no_broker_up() -> None:
    one = bytes.fromhex("3008000174006f6e6365")  # "once", of the topic t

    async def floods(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(one * 100)
        while await reader.read(1000):
            writer.write(b"\xd0\x00")  # behind all that is not read

    heard: list[tuple[str, bytes]] = []
    async with linked(says(EACH_SECOND, then=floods), heard) as link:
        link.pause()
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(link.lost(), 4)
        assert len(heard) < 50
        link.resume()
        await until(lambda: len(heard) == 100, 10)


async def test_a_quiet_link_asks_as_often_as_the_broker_wants() -> None:
    asked = asyncio.Event()

    async def answers(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        for _ in range(2):
            assert await reader.readexactly(2) == b"\xc0\x00"
            writer.write(b"\xd0\x00")
        asked.set()
        await listens(reader, writer)

    async with linked(says(EACH_SECOND, then=answers)):
        await asyncio.wait_for(asked.wait(), 10)


async def test_what_is_sent_without_a_connection_is_lost_without_a_fault() -> None:
    async with linked(says(GOOD)) as link:
        with pytest.raises(ConnectionError):
            await link.lost()
        link.publish("t", b"x")
        link.pause()
        link.resume()


@pytest.mark.slow
@pytest.mark.skipif(NEEDS_BROKER[1].args[0], reason="mosquitto is not installed")
async def test_large_messages_pass_a_real_broker_and_wait_while_paused(tmp_path: Path) -> None:
    broker = Broker(tmp_path)
    await broker.start()
    heard: list[tuple[str, bytes]] = []
    sent = [bytes([number]) * 200_000 for number in range(20)]
    try:
        async with Link(
            ("127.0.0.1", broker.port), None, "", lambda *said: heard.append(said)
        ) as link:
            await link.subscribe("+/up")
            link.pause()
            for payload in sent:
                link.publish("p/up", payload)
            link.resume()
            await until(lambda: len(heard) == len(sent), 20)
    finally:
        broker.stop()
    assert heard == [("p/up", payload) for payload in sent]
