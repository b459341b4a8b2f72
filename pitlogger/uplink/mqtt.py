"""Bundles over MQTT: published under the node's own topic; the receipt comes back under another.

    fleet/1/NODE/up       the node writes: signed bundles
    fleet/1/NODE/down     the hub writes: its answers (``uplink/carrier.py``)

The broker's acknowledgement is no receipt: only what the hub answers once it has committed. Each
connection begins clean, and what had no receipt before is sent again within two seconds.
Sources: MQTT 5.0 (OASIS), 3.1.2.4 clean start, 3.14.2.1 reason codes.
"""

from __future__ import annotations

import asyncio
import random
import ssl
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlsplit

import aiomqtt
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from paho.mqtt.enums import MQTTErrorCode

from pitlogger.devices.backoff import Backoff, Pace
from pitlogger.errors import DeliveryError, UsageError
from pitlogger.uplink.carrier import COPIED, CarrierEvent, explained, read_answer
from pitlogger.uplink.join import pinned, renew
from pitlogger.uplink.joined import AUTHORITY_FILE, CERTIFICATE_FILE
from pitlogger.views.uplink import Joined

TIMEOUT_S, KEEPALIVE_S = 10.0, 60
MOST_AT_ONCE = 64
_TAKEN_OVER = 142


def broker_of(address: str) -> tuple[str, int, bool]:
    """Return host, port and whether TLS is used, of ``mqtts://broker:8883``.

    Raises:
        UsageError: No such address.
    """
    try:
        parts = urlsplit(address)
        port = parts.port
    except ValueError:
        parts, port = urlsplit(""), None
    if parts.scheme not in ("mqtt", "mqtts") or not parts.hostname or parts.path.strip("/"):
        raise UsageError(f"'{address}' is no broker: expected mqtts://HOST:8883")
    is_tls = parts.scheme == "mqtts"
    return parts.hostname, port or (8883 if is_tls else 1883), is_tls


class _Client(aiomqtt.Client):
    """Looks after its keepalive now and then: each second costs a node more than what it sends."""

    async def _misc_loop(self) -> None:
        while self._client.loop_misc() == MQTTErrorCode.MQTT_ERR_SUCCESS:  # noqa: ASYNC110  as in the base class
            await asyncio.sleep(KEEPALIVE_S / 4)


class MqttCarrier:
    """Publishes to the broker of the hub that a node has joined.

    Args:
        joined: The hub.
        node: Id of this node: its client id and, in its certificate, its name.
        key: Of this node.
        data: Folder with the node's key, its certificate and the hub's authority.
    """

    def __init__(
        self, joined: Joined, node: str, key: Ed25519PrivateKey, data: Path,
        chance: Callable[[], float] = random.random,
    ) -> None:  # fmt: skip
        self.report: Callable[[CarrierEvent], None] = lambda event: None
        self._joined, self._node, self._key, self._data = joined, node, key, data
        self._client: aiomqtt.Client | None = None
        self._pace = Backoff(Pace(first_s=1.0), chance)

    async def run(self) -> None:
        """Stay connected until cancelled."""
        while True:
            began = time.monotonic()
            try:
                await self._renewed()
                async with self._connection() as client:
                    await client.subscribe(f"fleet/1/{self._node}/down", qos=1)
                    self._client = client
                    self.report(CarrierEvent(forgotten=True))
                    async for message in client.messages:
                        self._heard(bytes(message.payload or b""))
            except (aiomqtt.MqttError, OSError, TimeoutError, ValueError) as fault:
                self.report(CarrierEvent(fault=self._explained(fault)))
            except DeliveryError as fault:
                self.report(CarrierEvent(fault=fault))
            finally:
                self._client = None
            await asyncio.sleep(self._pace.after(time.monotonic() - began))

    async def send(self, number: int, body: bytes) -> None:
        """Publish a bundle; without a connection it waits to be sent again."""
        client = self._client
        if client is None:
            return
        try:
            await client.publish(f"fleet/1/{self._node}/up", body, qos=0)
        except (aiomqtt.MqttError, ValueError) as fault:
            self.report(CarrierEvent(fault=self._explained(fault)))

    def _heard(self, payload: bytes) -> None:
        try:
            answer = read_answer(payload)
        except DeliveryError as fault:
            self.report(CarrierEvent(fault=fault))
            return
        if answer.fault:
            refusal = DeliveryError(answer.fault, remedy="Nothing is lost: it is sent again")
            self.report(CarrierEvent(fault=refusal, retry_s=answer.retry_s))
        else:
            self.report(CarrierEvent(answer))

    async def _renewed(self) -> None:
        """Fetch a new certificate where this node's has run out: its key still signs for it."""
        path = self._data / CERTIFICATE_FILE
        if path.exists():
            held = x509.load_pem_x509_certificate(path.read_bytes())
            if held.not_valid_after_utc <= datetime.now(UTC):
                await renew(self._joined, self._data, self._key, self._node)

    def _connection(self) -> aiomqtt.Client:
        host, port, is_tls = broker_of(self._joined.broker)
        context: ssl.SSLContext | None = None
        if is_tls:
            context = pinned((self._data / AUTHORITY_FILE).read_text(encoding="ascii"))
            context.load_cert_chain(self._data / CERTIFICATE_FILE, self._data / "node-key.pem")
        return _Client(
            host, port, identifier=self._node, protocol=aiomqtt.ProtocolVersion.V5,
            clean_start=True, tls_context=context, timeout=TIMEOUT_S, keepalive=KEEPALIVE_S,
            max_queued_incoming_messages=MOST_AT_ONCE,
        )  # fmt: skip

    def _explained(self, fault: BaseException) -> DeliveryError:
        if getattr(getattr(fault, "rc", None), "value", None) == _TAKEN_OVER:
            return COPIED
        return explained(self._joined.broker, fault)
