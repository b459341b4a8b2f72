"""Bundles by HTTPS: a POST each; the answer is the receipt.

The hub's own authority is pinned when the node joins; no other signs for it. Connections are kept
between sends, and spoken to by the bare protocol: a day of a node is almost two thousand sends,
and a general client takes four times the processor time. Sources: RFC 9112 (HTTP/1.1), RFC 9110
section 15.6.4 (503) and 10.2.3 (Retry-After).
"""

from __future__ import annotations

import asyncio
import json
import ssl
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

import h11

from pitlogger.errors import DeliveryError
from pitlogger.uplink.carrier import CarrierEvent, explained, read_answer
from pitlogger.uplink.join import pinned

TIMEOUT_S = 30.0
SLOWEST = 2_000  # bytes a second of a link that is waited for
MOST_ANSWER = 1 << 20
WAIT_S = 30.0  # where a busy hub names no time
# Longer than the minute between two accounts of how things stand, shorter than the hub keeps one:
# making a connection costs more than what goes over it.
KEPT_S = 100.0
_BUSY = (429, 503)


@dataclass(slots=True)
class _Connection:
    """A connection to the hub, and since when nothing went over it."""

    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter
    state: h11.Connection
    idle_s: float = 0.0

    def is_good(self) -> bool:
        """Return whether it may be used again."""
        return not self.reader.at_eof() and time.monotonic() - self.idle_s < KEPT_S


class HttpsCarrier:
    """Sends to ``<hub>/fleet/1/<node>/up``.

    Args:
        hub: Address, ``https://hub.local:8443``.
        node: Id of this node.
        authority: PEM file of the certificate that signs for the hub.
    """

    def __init__(self, hub: str, node: str, authority: Path) -> None:
        self.report: Callable[[CarrierEvent], None] = lambda event: None
        self._hub = hub.rstrip("/")
        parts = urlsplit(self._hub)
        self._at = parts.hostname or "", parts.port or 443
        self._target = f"{parts.path}/fleet/1/{node}/up"
        self._host = parts.netloc
        self._authority = authority
        self._trust: ssl.SSLContext | None = None
        self._idle: list[_Connection] = []
        self._sending: set[asyncio.Task[None]] = set()

    async def run(self) -> None:
        """Hold connections open for what is sent."""
        try:
            await asyncio.Event().wait()
        finally:
            for task in self._sending:
                task.cancel()
            for one in self._idle:
                one.writer.close()

    def send(self, number: int, body: bytes) -> None:
        """Post a bundle beside the caller, who never waits for the network."""
        task = asyncio.create_task(self._post(body), name=f"uplink-{number}")
        self._sending.add(task)
        task.add_done_callback(self._sending.discard)

    async def _post(self, body: bytes) -> None:
        try:
            async with asyncio.timeout(TIMEOUT_S + len(body) / SLOWEST):
                one = await self._connected()
                try:
                    event = await self._exchanged(one, body)
                except BaseException:
                    one.writer.close()
                    raise
            self._keep(one)
            self.report(event)
        except (h11.ProtocolError, OSError, TimeoutError) as fault:
            self.report(CarrierEvent(fault=explained(self._hub, fault)))
        except DeliveryError as fault:
            self.report(CarrierEvent(fault=fault))

    async def _connected(self) -> _Connection:
        while self._idle:
            one = self._idle.pop()
            if one.is_good():
                return one
            one.writer.close()
        if self._trust is None:
            try:
                self._trust = pinned(self._authority.read_text(encoding="ascii"))
            except (OSError, ValueError) as fault:
                raise DeliveryError(
                    f"the hub's authority in {self._authority} cannot be read ({fault})",
                    remedy="Join again: pitlogger uplink join HUB CODE",
                ) from None
        reader, writer = await asyncio.open_connection(*self._at, ssl=self._trust)
        return _Connection(reader, writer, h11.Connection(h11.CLIENT))

    async def _exchanged(self, one: _Connection, body: bytes) -> CarrierEvent:
        """Return what the hub answers to a bundle."""
        state = one.state
        headers = [("host", self._host), ("content-type", "application/cose"),
                   ("content-length", str(len(body)))]  # fmt: skip
        for said in (
            h11.Request(method="POST", target=self._target, headers=headers),
            h11.Data(data=body),
            h11.EndOfMessage(),
        ):
            one.writer.write(state.send(said) or b"")
        await one.writer.drain()
        status, after, content = 0, "", bytearray()
        while type(event := state.next_event()) is not h11.EndOfMessage:
            if event is h11.NEED_DATA:
                state.receive_data(await one.reader.read(65_536))
            elif isinstance(event, h11.Response):
                status = event.status_code
                after = dict(event.headers).get(b"retry-after", b"").decode("ascii", "replace")
            elif isinstance(event, h11.Data):
                content += event.data
                if len(content) > MOST_ANSWER:
                    raise h11.RemoteProtocolError("its answer has no end")
        return _event(self._hub, status, after, bytes(content))

    def _keep(self, one: _Connection) -> None:
        """Keep a connection for the next bundle, where the hub keeps it too."""
        if one.state.our_state is h11.DONE and one.state.their_state is h11.DONE:
            one.state.start_next_cycle()
            one.idle_s = time.monotonic()
            self._idle.append(one)
        else:
            one.writer.close()


def _event(hub: str, status: int, after: str, content: bytes) -> CarrierEvent:
    said = content.decode("utf-8", "replace")[:300]
    with suppress(
        ValueError, KeyError, TypeError, RecursionError
    ):  # a hub's own words, in its wrapping
        said = str(json.loads(content)["error"])[:300] if status != 200 else said
    if status == 200:
        return CarrierEvent(answer=read_answer(content))
    if status in _BUSY:
        fault = DeliveryError(f"{hub} takes nothing now: {said}", remedy="Nothing is lost: wait")
        return CarrierEvent(
            fault=fault, retry_s=min(float(after) if after.isdigit() else WAIT_S, 600.0)
        )
    if status in (401, 403):
        return CarrierEvent(fault=DeliveryError(
            f"{hub} does not take this node's records: {said}",
            remedy="Join again, or ask whoever runs the hub: pitlogger uplink join HUB CODE",
            for_good=True,
        ))  # fmt: skip
    return CarrierEvent(fault=DeliveryError(f"{hub} answered {status}: {said}"))
