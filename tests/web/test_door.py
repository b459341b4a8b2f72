"""What a stranger's connections can do to the node: real sockets, no key."""

from __future__ import annotations

import asyncio
import resource
from collections.abc import AsyncIterator
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import httpx
import pytest
import pytest_asyncio

from pitlogger.config import parse_config
from pitlogger.node.daemon import Daemon
from pitlogger.web import serve
from pitlogger.web.access import gate
from pitlogger.web.access.access import Access
from pitlogger.web.access.door import KEPT_FREE, NETWORK, origin_of, with_room
from pitlogger.web.access.roles import Role
from pitlogger.web.serve import serving

SHORT = replace(NETWORK, connections=12, per_address=6, head_s=0.3, unread_s=0.3)
ALL = 1 << 20


@dataclass(slots=True)
class Served:
    """A daemon on the network."""

    port: int
    access: Access
    token: str
    socket: Path

    async def connect(self, source: str = "127.0.0.1") -> tuple[
        asyncio.StreamReader, asyncio.StreamWriter
    ]:  # fmt: skip
        return await asyncio.open_connection("127.0.0.1", self.port, local_addr=(source, 0))

    async def say(self, *parts: bytes) -> bytes:
        """Send bytes, return all that is answered until the connection ends."""
        reader, writer = await self.connect()
        for part in parts:
            writer.write(part)
        with suppress(ConnectionError):
            await writer.drain()
        answer = b""
        with suppress(ConnectionError):
            answer = await asyncio.wait_for(reader.read(ALL), 10)
        writer.close()
        return answer

    async def status(self, source: str = "127.0.0.1") -> int:
        transport = httpx.AsyncHTTPTransport(local_address=source)
        async with httpx.AsyncClient(transport=transport) as client:
            url = f"http://127.0.0.1:{self.port}/api/v1/status"
            answer = await client.get(url, headers={"Authorization": f"Bearer {self.token}"})
            return answer.status_code


@pytest_asyncio.fixture
async def served(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Served]:
    monkeypatch.setattr(serve, "NETWORK", SHORT)
    monkeypatch.setattr(gate, "BODY_S", 0.3)
    config = parse_config(f'[node]\ndata = "{tmp_path}"\n[web]\nhost = "127.0.0.1"\nport = 0\n')
    access = Access(config)
    _, token = access.admit("program", "test", Role.OWNER)
    async with Daemon(config) as daemon, serving(daemon, access) as address:
        assert address is not None
        port = int(address.rstrip("/").rpartition(":")[2])
        yield Served(port, access, token, daemon.socket)


def request(token: str, length: str, path: str = "/api/v1/notes") -> bytes:
    return (
        f"POST {path} HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {token}\r\n"
        f"Content-Type: application/json\r\n{length}\r\n\r\n"
    ).encode()


def code_of(answer: bytes) -> int:
    return int(answer.split()[1])


async def test_two_lengths_of_one_body_are_refused(served: Served) -> None:
    both = request(served.token, "Content-Length: 5\r\nTransfer-Encoding: chunked")
    assert code_of(await served.say(both, b"10000\r\n")) == 400
    twice = request(served.token, "Content-Length: 5\r\nContent-Length: 6")
    assert code_of(await served.say(twice)) == 400


async def test_a_body_with_a_get_ends_the_connection(served: Served) -> None:
    head = b"GET /api/v1/status HTTP/1.1\r\nHost: localhost\r\nContent-Length: 9\r\n\r\n"
    assert code_of(await served.say(head, b"x" * 9)) == 400


async def test_a_length_of_many_digits_is_refused(served: Served) -> None:
    answer = await served.say(request(served.token, f"Content-Length: {'9' * 15}"))
    assert code_of(answer) == 413


async def test_a_long_head_is_refused(served: Served) -> None:
    head = b"GET / HTTP/1.1\r\nHost: localhost\r\nX: " + b"x" * 40_000 + b"\r\n\r\n"
    assert code_of(await served.say(head)) in (400, 431)


async def test_a_body_that_drips_is_ended(served: Served) -> None:
    answer = await served.say(request(served.token, "Content-Length: 60000"), b'{"text":')
    assert code_of(answer) == 408


async def test_a_head_that_drips_is_ended(served: Served) -> None:
    reader, writer = await served.connect()
    writer.write(b"GET / HTT")
    assert await asyncio.wait_for(reader.read(ALL), 5) == b""
    writer.close()


async def test_a_body_that_breaks_off_its_form_is_no_fault_of_the_node(
    served: Served, caplog: pytest.LogCaptureFixture
) -> None:
    """Whoever sends it could push the faults that are kept for a report out of the folder."""
    head = request("none", "Transfer-Encoding: chunked").partition(b"\r\n\r\n")[0]
    answer = await served.say(head + b"\r\n\r\n5;" + b"a" * 200_000 + b"\r\nhello\r\n0\r\n\r\n")
    assert answer.startswith(b"HTTP/1.1 400")
    await asyncio.sleep(0)
    assert [record.getMessage() for record in caplog.records if record.levelname == "ERROR"] == []


async def test_an_answer_nobody_reads_is_ended(served: Served) -> None:
    reader, writer = await served.connect()
    ask = (
        f"GET /api/v1/openapi.json HTTP/1.1\r\nHost: localhost\r\n"
        f"Authorization: Bearer {served.token}\r\nAccept-Encoding: identity\r\n\r\n"
    ).encode()
    for _ in range(150):  # more than the kernel's buffers hold
        writer.write(ask)
    (door,) = [door for door in served.access.doors if len(door)]
    async with asyncio.timeout(20):
        while len(door):  # noqa: ASYNC110 - what ends it is the door itself
            await asyncio.sleep(0.05)
    writer.transport.abort()
    del reader


async def test_idle_connections_of_one_address_leave_room_for_the_others(served: Served) -> None:
    held = [await served.connect() for _ in range(40)]
    assert await served.status("127.0.0.2") == 200
    assert await served.status() == 200  # an idle one of the same address gives way
    for _, writer in held:
        writer.close()


async def test_connections_in_all_are_limited_and_a_new_one_comes_first(served: Served) -> None:
    held = [await served.connect(f"127.0.1.{number % 20 + 1}") for number in range(60)]
    assert sum(len(door) for door in served.access.doors) <= SHORT.connections
    assert await served.status("127.0.2.1") == 200
    transport = httpx.AsyncHTTPTransport(uds=str(served.socket))
    async with httpx.AsyncClient(transport=transport) as local:
        assert (await local.get("http://pit/api/v1/status")).status_code == 200
    for _, writer in held:
        writer.close()


def test_an_address_is_a_host_or_a_network_of_ipv6() -> None:
    assert origin_of(("192.0.2.1", 5)) == "192.0.2.1"
    assert origin_of(("::ffff:192.0.2.1", 5, 0, 0)) == "192.0.2.1"
    one, two = origin_of(("2001:db8::1", 5)), origin_of(("2001:db8::2:1", 5))
    assert one == two == "2001:0db8:0000:0000"
    assert origin_of("") == ""


def test_a_small_number_of_descriptors_is_shared_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(resource, "getrlimit", lambda which: (KEPT_FREE + 40, KEPT_FREE + 40))
    room = with_room(NETWORK)
    assert (room.connections, room.per_address) == (40, 20)
