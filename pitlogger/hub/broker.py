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

from pitlogger.errors import HubFullError
from pitlogger.hub.ingest import MOST_WAITING, Ingest
from pitlogger.hub.receive import NotEnrolledError
from pitlogger.uplink.carrier import HubAnswer, written
from pitlogger.uplink.join import pinned
from pitlogger.uplink.link import Link
from pitlogger.uplink.mqtt import broker_of

log = logging.getLogger(__name__)

SHARED = "$share/ingest/fleet/1/+/up"
AGAIN_S, BUSY_S = 2.0, 20.0
MOST_HEARD = 4 * MOST_WAITING  # then the broker holds what comes


class BrokerIngest:
    """Takes bundles from a broker into an ingest.

    Args:
        address: ``mqtts://HOST:8883``, or ``mqtt://`` on this host alone.
        folder: With ``authority.pem``, ``ingest-certificate.pem`` and ``ingest-key.pem`` for TLS.
    """

    def __init__(self, ingest: Ingest, address: str, folder: Path) -> None:
        self._ingest, self._address, self._folder = ingest, address, folder
        self._link: Link | None = None
        self._is_paused = False

    async def run(self, ready: Callable[[], None] = lambda: None) -> None:
        """Stay connected until cancelled; ``ready`` is called at each subscription."""
        while True:
            try:
                async with self._connection() as link:
                    self._link, self._is_paused = link, False
                    await link.subscribe(SHARED)
                    ready()
                    await link.lost()
            except OSError as fault:
                log.warning("the broker %s is away: %s", self._address, fault)
            finally:
                self._link = None
            await asyncio.sleep(AGAIN_S)

    def _heard(self, topic: str, message: bytes) -> None:
        uid = topic.split("/")[2]
        self._ingest.put(uid, message, lambda answer: self._answered(uid, answer))
        if self._ingest.waiting >= MOST_HEARD and self._link is not None:
            self._is_paused = True
            self._link.pause()

    def _answered(self, uid: str, answer: HubAnswer | Exception) -> None:
        if isinstance(answer, NotEnrolledError | HubFullError):
            answer = HubAnswer(self._ingest.sink.hub, fault=str(answer), retry_s=BUSY_S)
        if isinstance(answer, Exception):
            log.error("a batch could not be written; its nodes send it again", exc_info=answer)
        elif self._link is not None:  # else the bundles will come again
            self._link.publish(f"fleet/1/{uid}/down", written(answer))
        if self._is_paused and self._link is not None and self._ingest.waiting < MOST_WAITING:
            self._is_paused = False
            self._link.resume()

    def _connection(self) -> Link:
        host, port, is_tls = broker_of(self._address)
        context: ssl.SSLContext | None = None
        if is_tls:
            context = pinned((self._folder / "authority.pem").read_text(encoding="ascii"))
            context.load_cert_chain(
                self._folder / "ingest-certificate.pem", self._folder / "ingest-key.pem"
            )
        # Its session ends with the connection: a dead ingester keeps no share of the messages.
        return Link((host, port), context, "", self._heard)


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
