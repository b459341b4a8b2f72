"""A connection to a broker that costs little: bundles go out and answers come in at once.

Each message is written where it is sent and taken where it is read, without a queue, a task or a
timer of its own: a day of a node is almost two thousand of them, and a general client takes twenty
steps of the loop for each. Whatever is lost is sent again by its sender (``uplink/window.py``).
Source: MQTT 5.0 (OASIS), 3.1.2.10 keepalive, 3.2.2.3.14 server keepalive, 3.14 disconnect.
"""

from __future__ import annotations

import asyncio
import socket
import ssl
from collections.abc import Callable
from types import TracebackType

from pitlogger.errors import DecodeError
from pitlogger.formats import mqtt

TIMEOUT_S = 10.0
KEEPALIVE_S = 60  # the broker gives up after half as much again
AT_ONCE = 65_536  # bytes read


class BrokerError(ConnectionError):
    """The broker refuses something or ended the connection; ``reason`` is MQTT's code."""

    def __init__(self, reason: int) -> None:
        super().__init__(mqtt.reason_text(reason))
        self.reason = reason


class Link:
    """Connected within ``async with``.

    Args:
        heard: Told topic and payload of each message, in the loop.
        keepalive_s: How long neither side may be silent.
        client_id: Empty where the broker shall choose one.
    """

    def __init__(
        self, at: tuple[str, int], trust: ssl.SSLContext | None, client_id: str,
        heard: Callable[[str, bytes], None], keepalive_s: int = KEEPALIVE_S,
    ) -> None:  # fmt: skip
        self._at, self._trust, self._client_id, self._heard = at, trust, client_id, heard
        self._loop = asyncio.get_running_loop()
        self._lost: asyncio.Future[None] = self._loop.create_future()
        self._awaited: asyncio.Future[bytes] = self._loop.create_future()
        self._socket: socket.socket | None = None
        self._came, self._unsent = b"", b""
        self._has_sent = self._has_heard = False
        self._timers: dict[str, asyncio.TimerHandle] = {}
        self._keepalive_s = keepalive_s

    async def __aenter__(self) -> Link:
        """Connect.

        Raises:
            OSError: It cannot be reached, or refuses (``BrokerError``).
            TimeoutError: It did not answer in time.
        """
        try:
            made = await self._loop.run_in_executor(None, self._opened)
            self._loop.add_reader(made, self._read)
            answer = mqtt.connack(
                await self._asked(mqtt.connect(self._client_id, self._keepalive_s))
            )
            if answer.reason:
                raise BrokerError(answer.reason)
            self._keepalive_s = answer.keepalive_s or self._keepalive_s
            self._later("keepalive", self._keepalive_s / 2, self._keep_alive)
        except DecodeError as fault:
            self._close()
            raise ConnectionError(f"no broker: {fault}") from None
        except BaseException:
            self._close()
            raise
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:  # fmt: skip
        """Say good-bye and close."""
        self.send(mqtt.DISCONNECT)
        self._close()

    def _opened(self) -> socket.socket:
        """Return a socket that is connected; in a thread, for both steps take their time."""
        plain = socket.create_connection(self._at, TIMEOUT_S)
        try:
            # Else a small message waits for the acknowledgement of the one before (RFC 896).
            plain.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            made = plain
            if self._trust is not None:
                made = self._trust.wrap_socket(plain, server_hostname=self._at[0])
            made.setblocking(False)
        except BaseException:
            plain.close()
            raise
        self._socket = made
        if self._lost.done():  # given up meanwhile
            made.close()
        return made

    async def subscribe(self, topics: str) -> None:
        """Ask for messages.

        Raises:
            OSError: The broker refuses, or is gone.
            TimeoutError: It did not answer in time.
        """
        reason = (await self._asked(mqtt.subscribe(1, topics)))[-1]
        if reason >= mqtt.REFUSED:
            raise BrokerError(reason)

    async def lost(self) -> None:
        """Wait until the connection is lost.

        Raises:
            OSError: Why.
            TimeoutError: Nothing came from the broker for too long.
        """
        await self._lost

    def publish(self, topic: str, payload: bytes) -> None:
        """Send a message; without a connection it is lost."""
        self.send(mqtt.publish(topic, payload))

    def send(self, packets: bytes) -> None:
        """Send packets; without a connection they are lost."""
        if self._socket is None:
            return
        self._has_sent = True
        self._unsent += packets
        if len(self._unsent) == len(packets):
            self._write()

    def ping(self) -> None:
        """Ask whether the broker is still there: without an answer the connection is given up."""
        if "answer" not in self._timers:
            self.send(mqtt.PING)
            silent = TimeoutError("the broker does not answer")
            self._later("answer", TIMEOUT_S, lambda: self._lose(silent))

    def pause(self) -> None:
        """Read nothing more for now: the broker holds what comes."""
        if self._socket is not None:
            self._loop.remove_reader(self._socket)

    def resume(self) -> None:
        """Read on."""
        if self._socket is not None:
            self._loop.add_reader(self._socket, self._read)
            self._loop.call_soon(self._read)  # what was decrypted already tells nobody

    async def _asked(self, packets: bytes) -> bytes:
        self._awaited = self._loop.create_future()
        self.send(packets)
        async with asyncio.timeout(TIMEOUT_S):
            await asyncio.wait((self._awaited, self._lost), return_when="FIRST_COMPLETED")
        if not self._awaited.done():
            await self._lost
        return self._awaited.result()

    # -- called by the loop --------------------------------------------------------------------

    def _write(self) -> None:
        assert self._socket is not None
        try:
            while self._unsent:
                self._unsent = self._unsent[self._socket.send(self._unsent) :]
            self._loop.remove_writer(self._socket)
        except (BlockingIOError, ssl.SSLWantReadError, ssl.SSLWantWriteError):
            self._loop.add_writer(self._socket, self._write)
        except OSError as fault:
            self._lose(fault)

    def _read(self) -> None:
        try:
            while self._socket is not None:
                data = self._socket.recv(AT_ONCE)
                if not data:
                    self._lose(ConnectionError("the broker closed the connection"))
                    return
                self._has_heard = True
                if timer := self._timers.pop("answer", None):
                    timer.cancel()
                packets, self._came = mqtt.split(self._came + data)
                for head, body in packets:
                    self._take(head & 0xF0, body)
                if not isinstance(self._socket, ssl.SSLSocket) or not self._socket.pending():
                    return
        except (BlockingIOError, ssl.SSLWantReadError, ssl.SSLWantWriteError):
            return
        except DecodeError as fault:
            self._lose(ConnectionError(f"no broker: {fault}"))
        except OSError as fault:
            self._lose(fault)

    def _take(self, kind: int, body: bytes) -> None:
        if kind == mqtt.PUBLISH:
            self._heard(*mqtt.message(body))
        elif kind in (mqtt.CONNACK, mqtt.SUBACK):
            if not self._awaited.done() and body:
                self._awaited.set_result(body)
        elif kind == mqtt.DISCONNECTED:
            self._lose(BrokerError(body[0] if body else 0))
        elif kind != mqtt.PINGRESP:
            raise DecodeError(f"a packet that begins with 0x{kind:02X}")

    def _keep_alive(self) -> None:
        if not (self._has_sent and self._has_heard):
            self.ping()
        self._has_sent = self._has_heard = False
        self._later("keepalive", self._keepalive_s / 2, self._keep_alive)

    def _later(self, name: str, seconds: float, work: Callable[[], None]) -> None:
        self._timers[name] = self._loop.call_later(seconds, work)

    def _lose(self, fault: OSError) -> None:
        if not self._lost.done():
            self._lost.set_exception(fault)
            self._lost.exception()  # known, whether anybody waits for it or not
        self._close()

    def _close(self) -> None:
        self._lost.cancel()
        for timer in self._timers.values():
            timer.cancel()
        self._timers.clear()
        if self._socket is not None:
            self._loop.remove_reader(self._socket)
            self._loop.remove_writer(self._socket)
            self._socket.close()
            self._socket = None
