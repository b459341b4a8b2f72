"""The way by HTTPS: connections are kept, and whatever answers becomes an event in words."""

from __future__ import annotations

import asyncio
import ssl
from collections.abc import AsyncIterator
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pitlogger.hub.authority import hub_identity
from pitlogger.uplink import https
from pitlogger.uplink.carrier import CarrierEvent
from pitlogger.uplink.https import HttpsCarrier

TAKEN = b'{"hub": "h-1", "received": [7]}'
OK = b"HTTP/1.1 200 OK\r\ncontent-length: %d\r\n\r\n%s" % (len(TAKEN), TAKEN)


class Hub:
    """Answers what it is told to, over TLS; ``None`` ends the connection instead."""

    def __init__(self, folder: Path) -> None:
        identity = hub_identity(folder, datetime.now(UTC))
        self.authority = folder / "authority.pem"
        self.authority.write_bytes(identity.authority)
        self.tls = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        self.tls.load_cert_chain(identity.certificate, identity.key)
        self.answers: list[bytes | None] = []
        self.heard: list[bytes] = []
        self.connections = 0
        self.closes_after = False
        self.running: list[asyncio.Task[None]] = []
        self.served: list[asyncio.StreamWriter] = []

    async def start(self) -> HttpsCarrier:
        self.server = await asyncio.start_server(self._serve, "127.0.0.1", 0, ssl=self.tls)
        self.port = self.server.sockets[0].getsockname()[1]
        self.events: asyncio.Queue[CarrierEvent] = asyncio.Queue()
        return self.carrier(self.authority)

    def carrier(self, authority: Path) -> HttpsCarrier:
        carrier = HttpsCarrier(f"https://127.0.0.1:{self.port}", "p-node", authority)
        carrier.report = self.events.put_nowait
        self.running.append(asyncio.create_task(carrier.run()))
        return carrier

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.connections += 1
        self.served.append(writer)
        while self.answers:
            try:
                head = await reader.readuntil(b"\r\n\r\n")
            except asyncio.IncompleteReadError:
                break
            length = int(head.lower().partition(b"content-length: ")[2].partition(b"\r")[0])
            self.heard.append(head + await reader.readexactly(length))
            if (answer := self.answers.pop(0)) is None:
                break
            writer.write(answer)
            await writer.drain()
            if self.closes_after:
                break
        writer.close()


@pytest.fixture
async def hub(tmp_path: Path) -> AsyncIterator[Hub]:
    made = Hub(tmp_path)
    yield made
    for task in made.running:
        task.cancel()
    await asyncio.gather(*made.running, return_exceptions=True)
    made.server.close()
    for writer in made.served:
        writer.close()
        with suppress(OSError):
            await writer.wait_closed()


async def one(carrier: HttpsCarrier, hub: Hub, body: bytes = b"bundle") -> CarrierEvent:
    """Send a bundle and return what is reported."""
    carrier.send(1, body)
    async with asyncio.timeout(20):
        event = await hub.events.get()
        await asyncio.gather(*carrier._sending)
    return event


async def test_a_connection_is_kept_for_the_next_bundle(hub: Hub) -> None:
    hub.answers = [OK, OK, OK]
    carrier = await hub.start()
    for body in (b"one", b"\x00" * 200_000, b"three"):
        event = await one(carrier, hub, body)
        assert event.answer is not None
        assert event.answer.received == (7,)
        assert hub.heard[-1].endswith(b"\r\n\r\n" + body)
    assert hub.connections == 1
    assert hub.heard[0].startswith(b"POST /fleet/1/p-node/up HTTP/1.1\r\n")
    assert b"127.0.0.1:%d" % hub.port in hub.heard[0]


async def test_four_at_once_take_four_connections_that_are_all_kept(hub: Hub) -> None:
    hub.answers = [OK] * 8
    carrier = await hub.start()
    for _ in range(2):
        for number in range(4):
            carrier.send(number, b"x")
        async with asyncio.timeout(20):
            found = [await hub.events.get() for _ in range(4)]
            await asyncio.gather(*carrier._sending)
        assert all(event.answer for event in found)
    assert hub.connections == 4


async def test_a_connection_that_the_hub_closed_is_made_anew(
    hub: Hub, monkeypatch: pytest.MonkeyPatch
) -> None:
    hub.answers = [OK, OK, OK]
    hub.closes_after = True
    carrier = await hub.start()
    assert (await one(carrier, hub)).answer
    async with asyncio.timeout(20):
        await carrier._idle[0].reader.read()  # its end is here
    assert (await one(carrier, hub)).answer
    monkeypatch.setattr(https, "KEPT_S", 0.0)  # nor is one used that the hub may have dropped
    assert (await one(carrier, hub)).answer
    assert hub.connections == 3


CLOSING = OK.replace(b"content-length", b"connection: close\r\ncontent-length")
CHUNKED = b"HTTP/1.1 200 OK\r\ntransfer-encoding: chunked\r\n\r\n%x\r\n%s\r\n0\r\n\r\n" % (
    len(TAKEN), TAKEN,
)  # fmt: skip


@pytest.mark.parametrize("answer", [CLOSING, CHUNKED, b"HTTP/1.1 100 Continue\r\n\r\n" + OK])
async def test_each_form_of_an_answer_is_read(hub: Hub, answer: bytes) -> None:
    hub.answers = [answer, OK]
    carrier = await hub.start()
    for _ in range(2):
        event = await one(carrier, hub)
        assert event.answer is not None
        assert event.answer.received == (7,)


BUSY = b"HTTP/1.1 503 Busy\r\nretry-after: %s\r\ncontent-length: 4\r\n\r\nfull"


@pytest.mark.parametrize(
    ("after", "pause_s"), [(b"20", 20.0), (b"soon", 30.0), (b"99999", 600.0), (b"-1", 30.0)]
)
async def test_a_busy_hub_is_left_alone(hub: Hub, after: bytes, pause_s: float) -> None:
    hub.answers = [BUSY % after]
    event = await one(await hub.start(), hub)
    assert event.retry_s == pause_s
    assert "takes nothing now: full" in str(event.fault)


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        (None, "cannot be reached"),
        (b"HTTP/1.1 200 OK\r\ncontent-length: 50\r\n\r\n{", "cannot be reached"),
        (b"\x00\xff\x16 nothing of the kind\r\n\r\n", "cannot be reached"),
        (b"HTTP/1.1 200 OK\r\nx: " + b"y" * 200_000 + b"\r\n\r\n", "cannot be reached"),
        (b"HTTP/1.1 200 OK\r\n\r\n" + b" " * 2_000_000, "cannot be reached"),
        (b"HTTP/1.1 200 OK\r\ncontent-length: 2\r\n\r\n{}", "answer cannot be read"),
        (b"HTTP/1.1 200 OK\r\ncontent-length: 2\r\n\r\n\xff\xfe", "answer cannot be read"),
        (b"HTTP/1.1 403 No\r\ncontent-length: 3\r\n\r\nwho", "does not take this node's records"),
        (b"HTTP/1.1 302 Go\r\nlocation: http://x/\r\ncontent-length: 0\r\n\r\n", "answered 302"),
        (b"HTTP/1.1 500 No\r\ncontent-length: 0\r\n\r\n", "answered 500"),
    ],
)  # fmt: skip
async def test_a_wrong_answer_is_told_and_the_next_bundle_goes(
    hub: Hub, answer: bytes | None, words: str
) -> None:
    hub.answers, hub.closes_after = [answer, OK], True
    carrier = await hub.start()
    event = await one(carrier, hub)
    assert event.answer is None
    assert words in str(event.fault)
    assert (await one(carrier, hub)).answer


async def test_a_hub_that_says_nothing_is_given_up(
    hub: Hub, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(https, "TIMEOUT_S", 0.5)
    hub.answers = [b"", OK]
    carrier = await hub.start()
    event = await one(carrier, hub)
    assert "cannot be reached" in str(event.fault)
    monkeypatch.setattr(https, "TIMEOUT_S", 20.0)
    assert (await one(carrier, hub)).answer


async def test_another_hub_and_none_at_all_are_told_apart(hub: Hub, tmp_path: Path) -> None:
    hub.answers = [OK]
    carrier = await hub.start()
    (tmp_path / "other").mkdir()
    hub.authority.write_bytes(hub_identity(tmp_path / "other", datetime.now(UTC)).authority)
    assert "is not the hub this node joined" in str((await one(carrier, hub)).fault)
    hub.authority.write_text("nothing")
    carrier._trust = None
    assert "Join again" in str((await one(carrier, hub)).fault)
    hub.server.close()
    assert "cannot be read" in str((await one(hub.carrier(tmp_path / "none"), hub)).fault)
