"""A connection to a broker that costs little: bundles go out and answers come in at once.

paho-mqtt speaks the protocol; here the loop drives it. A message is written where it is sent and
taken where it is read, without the queue, the task and the ticking of a general client: a day of a
node is almost three thousand of them. Whatever is lost is sent again by its sender
(``uplink/window.py``). Source: MQTT 5.0 (OASIS), 3.1.2.10 keepalive, 4.4 delivery at QoS 0.
"""

from __future__ import annotations

import asyncio
import socket
import ssl
import struct
from collections.abc import Callable
from types import TracebackType
from typing import Any

from paho.mqtt.client import Client, MQTTMessage, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

TIMEOUT_S = 10.0
KEEPALIVE_S = 120  # the broker gives up after half as much again
LARGEST_BYTES = 1 << 20  # of a packet that the broker may send
TAKEN_OVER = 0x8E
_NO_MQTT = (ValueError, struct.error, IndexError)  # of what is read and is no packet


class BrokerError(ConnectionError):
    """The broker refuses something or ended the connection; ``reason`` is MQTT's code."""

    def __init__(self, reason: ReasonCode) -> None:
        super().__init__(f"the broker refuses it: {reason}")
        self.reason = reason.value


class Link:
    """Connected within ``async with``; its session ends with it.

    Args:
        trust: For TLS, ``None`` without.
        client_id: Empty where the broker shall choose one.
        heard: Told topic and payload of each message, in the loop.
    """

    def __init__(
        self, at: tuple[str, int], trust: ssl.SSLContext | None, client_id: str,
        heard: Callable[[str, bytes], None],
    ) -> None:  # fmt: skip
        self._at, self._heard = at, heard
        self._loop = asyncio.get_running_loop()
        self._lost: asyncio.Future[None] = self._loop.create_future()
        self._awaited: asyncio.Future[None] = self._loop.create_future()
        self._socket: socket.socket | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._is_paused = False
        self._client = made = Client(CallbackAPIVersion.VERSION2, client_id, protocol=MQTTv5)
        made.connect_timeout = TIMEOUT_S
        made.on_connect = lambda _c, _u, _flags, reason, _p: self._answered(reason)
        made.on_subscribe = lambda _c, _u, _mid, reasons, _p: self._answered(reasons[0])
        made.on_disconnect = lambda _c, _u, flags, reason, _p: self._ended(flags, reason)
        made.on_message = self._took
        made.on_socket_close = lambda *_: self._forget()
        if trust is not None:
            made.tls_set_context(trust)

    async def __aenter__(self) -> Link:
        """Connect.

        Raises:
            OSError: It cannot be reached, or refuses (``BrokerError``).
            TimeoutError: It did not answer in time.
        """
        try:
            await self._loop.run_in_executor(None, self._connect)
            made = self._client.socket()
            assert isinstance(made, socket.socket)
            self._socket = made
            self._loop.add_reader(made, self._read)
            await self._answer()
            self._keep_alive()
        except BaseException:
            self._close()
            raise
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:  # fmt: skip
        """Say good-bye and close."""
        self._client.disconnect()
        self._close()

    def _connect(self) -> None:
        """Connect, in a thread: name, socket and TLS take their time."""
        wanted = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        wanted.MaximumPacketSize = LARGEST_BYTES
        wanted.SessionExpiryInterval = 0
        self._client.connect(*self._at, KEEPALIVE_S, clean_start=True, properties=wanted)
        made = self._client.socket()
        if isinstance(made, socket.socket):  # else a small message waits until the last one came
            made.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    async def subscribe(self, topics: str) -> None:
        """Ask for messages, each once at most.

        Raises:
            OSError: The broker refuses, or is gone.
            TimeoutError: It did not answer in time.
        """
        self._awaited = self._loop.create_future()
        self._client.subscribe(topics, options=SubscribeOptions(qos=0))
        await self._answer()

    async def lost(self) -> None:
        """Wait until the connection is lost.

        Raises:
            OSError: Why.
        """
        await asyncio.shield(self._lost)

    def publish(self, topic: str, payload: bytes) -> None:
        """Send a message once at most; without a connection it is lost."""
        if self._socket is not None:
            self._client.publish(topic, payload)
            self._write_rest()

    def pause(self) -> None:
        """Read almost nothing more for now: the broker holds what comes."""
        self._is_paused = True
        if self._socket is not None:
            self._loop.remove_reader(self._socket)

    def resume(self) -> None:
        """Read on."""
        self._is_paused = False
        if self._socket is not None:
            self._loop.add_reader(self._socket, self._read)
            self._loop.call_soon(self._read)  # what was decrypted already tells nobody

    async def _answer(self) -> None:
        async with asyncio.timeout(TIMEOUT_S):
            await asyncio.wait((self._awaited, self._lost), return_when="FIRST_COMPLETED")
        await (self._awaited if self._awaited.done() else self._lost)

    # -- called by the loop --------------------------------------------------------------------

    def _read(self) -> None:
        try:
            while self._client.loop_read() == MQTTErrorCode.MQTT_ERR_SUCCESS:
                if not isinstance(self._socket, ssl.SSLSocket) or not self._socket.pending():
                    break
        except _NO_MQTT as fault:
            self._lose(ConnectionError(f"no broker that speaks MQTT 5: {fault}"))
        self._write_rest()

    def _write_rest(self) -> None:
        """Write what is not written yet, as soon as there is room for it."""
        if self._client.want_write():
            self._client.loop_write()
        if self._socket is None:
            return
        if self._client.want_write():
            self._loop.add_writer(self._socket, self._write_rest)
        else:
            self._loop.remove_writer(self._socket)

    def _keep_alive(self) -> None:
        if self._is_paused:  # else the broker is taken for dead: its answer lies behind the rest
            self._read()
        self._client.loop_misc()
        if self._socket is None:
            return
        self._timer = self._loop.call_later(self._client.keepalive / 2, self._keep_alive)

    # -- called by the client ------------------------------------------------------------------

    def _took(self, _client: Client, _userdata: Any, message: MQTTMessage) -> None:
        self._heard(message.topic, bytes(message.payload))

    def _answered(self, reason: ReasonCode) -> None:
        if self._awaited.done():
            return
        if reason.is_failure:
            self._awaited.set_exception(BrokerError(reason))
        else:
            self._awaited.set_result(None)

    def _ended(self, flags: Any, reason: ReasonCode) -> None:
        if flags.is_disconnect_packet_from_server:
            self._lose(BrokerError(reason))
        else:
            self._lose(ConnectionError(f"the connection to the broker was lost: {reason}"))

    def _lose(self, fault: OSError) -> None:
        if not self._lost.done():
            self._lost.set_exception(fault)
            self._lost.exception()  # known, whether anybody waits for it or not
        self._close()

    def _forget(self) -> None:
        """Leave the socket alone: the client closes it."""
        if self._socket is not None:
            self._loop.remove_reader(self._socket)
            self._loop.remove_writer(self._socket)
            self._socket = None

    def _close(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
        held = self._socket
        self._forget()
        if held is not None:
            held.close()
