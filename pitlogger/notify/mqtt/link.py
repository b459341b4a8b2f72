"""The connection to a broker: made again whenever it is lost, with a new client each time.

Source: aiomqtt 2.5 documentation, reconnection; MQTT 5.0 (OASIS), 3.1.2.4 clean start, 3.1.2.5
will, 3.1.2.11.2 session expiry, 3.2.2.2 reason codes,
4.13 and 3.14.2.1 session taken over.
"""

from __future__ import annotations

import asyncio
import random
import socket
import ssl
import time
from collections.abc import Awaitable, Callable
from pathlib import Path

import aiomqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from pitlogger.config import MqttTable
from pitlogger.devices.backoff import Backoff, Pace
from pitlogger.devices.tasks import heed_cancelling
from pitlogger.errors import DeliveryError
from pitlogger.notify.ways.way import read_secret

SESSION_S = 3600  # how long the broker keeps what comes while we are away
TIMEOUT_S = 10.0
MOST_WAITING = 1000  # messages that came and are not taken yet; further ones are passed over
LARGEST_BYTES = 1 << 20  # of a message; the broker keeps longer ones to itself (3.1.2.11.4)
KEEPALIVE_S = 20
# Else a small message waits up to 40 ms for the acknowledgement of the one before (RFC 896).
_AT_ONCE = (socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
NAMESAKE = DeliveryError(
    "another node uses this name on the broker",
    remedy="Give one of the two another name under [node] name; a copied memory card needs a key of"
    " its own too: delete node-key.pem beside its record",
)
_TAKEN_OVER = 142
_REFUSALS = {
    134: ("the broker refuses the user name or password", "Check [mqtt] username, password_file"),
    135: ("the broker does not allow this user", "Check user name, password and its access list"),
}

Serve = Callable[[aiomqtt.Client], Awaitable[None]]
Report = Callable[[DeliveryError | None], None]
Sleep = Callable[[float], Awaitable[None]]


class MqttLink:
    """Connects for as long as it runs.

    Args:
        table: Broker and credentials.
        client_id: The same at each connection, so that the broker knows its session.
        will: Topic and payload the broker publishes when we are lost, retained, if any.
        report: Told what is wrong, or ``None`` once it works.
        sleep: Waits between attempts.
        chance: Spreads attempts; 0 to 1.
    """

    def __init__(
        self,
        table: MqttTable,
        client_id: str,
        will: tuple[str, str] | None,
        report: Report,
        *,
        sleep: Sleep = asyncio.sleep,
        chance: Callable[[], float] = random.random,
    ) -> None:
        self._table = table
        self._client_id = client_id
        self._will = will
        self._report = report
        self._sleep = sleep
        self._pace = Backoff(Pace(first_s=1.0), chance)

    async def run(self, serve: Serve) -> None:
        """Connect, hand the client to ``serve``, and again when the broker goes away."""
        while True:
            began = time.monotonic()
            try:
                await self._once(serve)
            except (aiomqtt.MqttError, OSError, TimeoutError, DeliveryError) as fault:
                self._report(self.explain(fault))
            heed_cancelling()
            await self._sleep(self._pace.after(time.monotonic() - began))

    async def _once(self, serve: Serve) -> None:
        async with self.client() as client:
            self._report(None)
            await serve(client)

    def client(self) -> aiomqtt.Client:
        """Return a client that is not yet connected.

        Raises:
            DeliveryError: The password or the authority cannot be read.
        """
        table = self._table
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = SESSION_S
        properties.MaximumPacketSize = LARGEST_BYTES
        will = None if self._will is None else aiomqtt.Will(*self._will, qos=1, retain=True)
        return aiomqtt.Client(
            table.host,
            table.port,
            username=table.username,
            password=None if table.password_file is None else read_secret(table.password_file),
            identifier=self._client_id,
            protocol=aiomqtt.ProtocolVersion.V5,
            clean_start=False,
            properties=properties,
            will=will,
            tls_context=_trust(table.ca_file) if table.tls else None,
            timeout=TIMEOUT_S,
            keepalive=KEEPALIVE_S,
            max_queued_incoming_messages=MOST_WAITING,
            socket_options=[_AT_ONCE],
        )

    def explain(self, fault: BaseException) -> DeliveryError:
        """Return a fault of the connection in words, with what to do."""
        if isinstance(fault, DeliveryError):
            return fault
        where = f"broker {self._table.host}:{self._table.port}"
        code = getattr(getattr(fault, "rc", None), "value", None)
        if code == _TAKEN_OVER:
            return NAMESAKE
        if code in _REFUSALS:
            words, remedy = _REFUSALS[code]
            return DeliveryError(f"{where}: {words}", remedy=remedy)
        said = str(fault) or type(fault).__name__
        if "certificate" in said.casefold():
            return DeliveryError(
                f"{where}: its certificate is not accepted ({said})",
                remedy="Name the authority that signed it in [mqtt] ca_file, and use the name"
                " that stands in the certificate",
            )
        return DeliveryError(
            f"{where} cannot be reached ({said})",
            remedy="Check that it runs, its address and port, and tls",
        )


def _trust(ca_file: Path | None) -> ssl.SSLContext:
    try:
        return ssl.create_default_context(cafile=ca_file)
    except (OSError, ssl.SSLError) as fault:
        raise DeliveryError(
            f"the authority in {ca_file} cannot be read ({fault})",
            remedy="Give the path of a PEM file in [mqtt] ca_file",
        ) from None
