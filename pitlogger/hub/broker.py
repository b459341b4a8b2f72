"""Bundles from a broker: any number of ingesters share one subscription.

A bundle's topic, the node it names and its signature must agree (``hub/receive.py``); the broker's
own rules let a node write under its name alone. What an ingester had not committed when it was
killed has no receipt, and its node sends it again. Source: MQTT 5.0 (OASIS), 4.8.2 shared
subscriptions.
"""

from __future__ import annotations

import asyncio
import logging
import ssl
from collections.abc import Callable
from pathlib import Path

import aiomqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from pitlogger.errors import HubFullError
from pitlogger.hub.ingest import MOST_WAITING, Ingest
from pitlogger.hub.receive import NotEnrolledError
from pitlogger.uplink.carrier import HubAnswer, written
from pitlogger.uplink.join import pinned
from pitlogger.uplink.mqtt import broker_of

log = logging.getLogger(__name__)

SHARED = "$share/ingest/fleet/1/+/up"
AGAIN_S, BUSY_S = 2.0, 20.0


class BrokerIngest:
    """Takes bundles from a broker into an ingest.

    Args:
        address: ``mqtts://HOST:8883``, or ``mqtt://`` on this host alone.
        folder: With ``authority.pem``, ``ingest-certificate.pem`` and ``ingest-key.pem`` for TLS.
    """

    def __init__(self, ingest: Ingest, address: str, folder: Path) -> None:
        self._ingest, self._address, self._folder = ingest, address, folder
        self._room = asyncio.Semaphore(MOST_WAITING)
        self._at_work: set[asyncio.Task[None]] = set()

    async def run(self, ready: Callable[[], None] = lambda: None) -> None:
        """Stay connected until cancelled; ``ready`` is called at each subscription."""
        try:
            while True:
                try:
                    async with self._connection() as client:
                        await client.subscribe(SHARED, qos=1)
                        ready()
                        async for message in client.messages:
                            await self._room.acquire()
                            uid = str(message.topic).split("/")[2]
                            self._begin(client, uid, bytes(message.payload or b""))
                except (aiomqtt.MqttError, OSError, TimeoutError) as fault:
                    log.warning("the broker %s is away: %s", self._address, fault)
                await asyncio.sleep(AGAIN_S)
        finally:
            for task in self._at_work:
                task.cancel()
            await asyncio.gather(*self._at_work, return_exceptions=True)

    def _begin(self, client: aiomqtt.Client, uid: str, message: bytes) -> None:
        task = asyncio.create_task(self._take(client, uid, message), name=f"bundle-{uid}")
        self._at_work.add(task)
        task.add_done_callback(self._at_work.discard)

    async def _take(self, client: aiomqtt.Client, uid: str, message: bytes) -> None:
        hub = self._ingest.sink.hub
        try:
            answer = await self._ingest.submit(uid, message)
        except (NotEnrolledError, HubFullError) as fault:
            answer = HubAnswer(hub, fault=str(fault), retry_s=BUSY_S)
        except Exception:
            log.exception("a batch could not be written; its nodes send it again")
            return
        finally:
            self._room.release()
        try:
            await client.publish(f"fleet/1/{uid}/down", written(answer))
        except (aiomqtt.MqttError, ValueError) as fault:
            log.info("a receipt could not be sent, its bundle will come again: %s", fault)

    def _connection(self) -> aiomqtt.Client:
        host, port, is_tls = broker_of(self._address)
        context: ssl.SSLContext | None = None
        if is_tls:
            context = pinned((self._folder / "authority.pem").read_text(encoding="ascii"))
            context.load_cert_chain(
                self._folder / "ingest-certificate.pem", self._folder / "ingest-key.pem"
            )
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = 0  # a dead ingester must keep no share of the messages
        return aiomqtt.Client(
            host, port, protocol=aiomqtt.ProtocolVersion.V5, clean_start=True,
            properties=properties, tls_context=context, timeout=10,
            max_queued_incoming_messages=4 * MOST_WAITING,
        )  # fmt: skip


# The broker's side, as ``pitlogger hub init`` writes it for Mosquitto 2: who writes what is
# decided by the name in the certificate.
CONFIGURATION = """\
listener {port}
cafile {folder}/authority.pem
certfile {folder}/broker-certificate.pem
keyfile {folder}/broker-key.pem
require_certificate true
use_identity_as_username true
allow_anonymous false
acl_file {folder}/rules
max_packet_size 300000
persistence false
"""
RULES = """\
user hub-ingest
topic read fleet/1/+/up
topic write fleet/1/+/down

pattern write fleet/1/%u/up
pattern read fleet/1/%u/down
"""
