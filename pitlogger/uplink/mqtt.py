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

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from pitlogger.devices.backoff import Backoff, Pace
from pitlogger.errors import DeliveryError, UsageError
from pitlogger.uplink.carrier import COPIED, CarrierEvent, explained, read_answer
from pitlogger.uplink.join import pinned, renew
from pitlogger.uplink.joined import AUTHORITY_FILE, CERTIFICATE_FILE
from pitlogger.uplink.link import TAKEN_OVER, BrokerError, Link
from pitlogger.views.uplink import Joined


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
        self._link: Link | None = None
        self._pace = Backoff(Pace(first_s=1.0), chance)

    async def run(self) -> None:
        """Stay connected until cancelled."""
        while True:
            began = time.monotonic()
            try:
                await self._renewed()
                async with self._connection() as link:
                    await link.subscribe(f"fleet/1/{self._node}/down")
                    self._link = link
                    self.report(CarrierEvent(forgotten=True))
                    await link.lost()
            except (OSError, ValueError) as fault:
                self.report(CarrierEvent(fault=self._explained(fault)))
            except DeliveryError as fault:
                self.report(CarrierEvent(fault=fault))
            finally:
                self._link = None
            await asyncio.sleep(self._pace.after(time.monotonic() - began))

    def send(self, number: int, body: bytes) -> None:
        """Publish a bundle; without a connection it waits to be sent again."""
        if self._link is not None:
            self._link.publish(f"fleet/1/{self._node}/up", body)

    def _heard(self, topic: str, payload: bytes) -> None:
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

    def _connection(self) -> Link:
        host, port, is_tls = broker_of(self._joined.broker)
        context: ssl.SSLContext | None = None
        if is_tls:
            context = pinned((self._data / AUTHORITY_FILE).read_text(encoding="ascii"))
            context.load_cert_chain(self._data / CERTIFICATE_FILE, self._data / "node-key.pem")
        return Link((host, port), context, self._node, self._heard)

    def _explained(self, fault: BaseException) -> DeliveryError:
        if isinstance(fault, BrokerError) and fault.reason == TAKEN_OVER:
            return COPIED
        return explained(self._joined.broker, fault)
