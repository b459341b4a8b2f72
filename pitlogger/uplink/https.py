"""Bundles by HTTPS: a POST each; the answer is the receipt.

The hub's own authority is pinned when the node joins; no other signs for it. Sources: RFC 9110
section 15.6.4 (503) and 10.2.3 (Retry-After).
"""

from __future__ import annotations

import asyncio
import ssl
from collections.abc import Callable
from pathlib import Path

import httpx

from pitlogger.errors import DeliveryError
from pitlogger.uplink.carrier import CarrierEvent, read_answer
from pitlogger.uplink.join import pinned

TIMEOUT_S = 30.0
WAIT_S = 30.0  # where a busy hub names no time
# Longer than the minute between two accounts of how things stand, shorter than the hub keeps one:
# making a connection costs more than what goes over it.
KEPT_S = 100.0
_BUSY = (429, 503)


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
        self._up = f"{self._hub}/fleet/1/{node}/up"
        self._authority = authority
        self._client: httpx.AsyncClient | None = None
        self._sending: set[asyncio.Task[None]] = set()

    async def run(self) -> None:
        """Hold connections open for what is sent."""
        try:
            await asyncio.Event().wait()
        finally:
            for task in self._sending:
                task.cancel()
            if self._client is not None:
                await self._client.aclose()

    async def send(self, number: int, body: bytes) -> None:
        """Post a bundle beside the caller, who never waits for the network."""
        task = asyncio.create_task(self._post(body), name=f"uplink-{number}")
        self._sending.add(task)
        task.add_done_callback(self._sending.discard)

    async def _post(self, body: bytes) -> None:
        try:
            reply = await self._connected().post(
                self._up, content=body, headers={"content-type": "application/cose"}
            )
            self.report(_event(reply, self._hub))
        except (httpx.HTTPError, OSError, ssl.SSLError) as fault:
            self.report(CarrierEvent(fault=_explained(fault, self._hub)))
        except DeliveryError as fault:
            self.report(CarrierEvent(fault=fault))

    def _connected(self) -> httpx.AsyncClient:
        if self._client is None:
            try:
                trust = pinned(self._authority.read_text(encoding="ascii"))
            except (OSError, ValueError) as fault:
                raise DeliveryError(
                    f"the hub's authority in {self._authority} cannot be read ({fault})",
                    remedy="Join again: pitlogger uplink join HUB CODE",
                ) from None
            self._client = httpx.AsyncClient(
                verify=trust, timeout=TIMEOUT_S, trust_env=False,
                limits=httpx.Limits(keepalive_expiry=KEPT_S),
            )  # fmt: skip
        return self._client


def _event(reply: httpx.Response, hub: str) -> CarrierEvent:
    if reply.status_code in _BUSY:
        after = reply.headers.get("retry-after", "")
        retry_s = float(after) if after.isdigit() else WAIT_S
        said = reply.text[:300]
        fault = DeliveryError(f"{hub} takes nothing now: {said}", remedy="Nothing is lost: wait")
        return CarrierEvent(fault=fault, retry_s=min(retry_s, 600.0))
    if reply.status_code in (401, 403):
        return CarrierEvent(fault=DeliveryError(
            f"{hub} does not take this node's records: {reply.text[:200]}",
            remedy="Join again, or ask whoever runs the hub: pitlogger uplink join HUB CODE",
            for_good=True,
        ))  # fmt: skip
    if reply.status_code != 200:
        return CarrierEvent(
            fault=DeliveryError(f"{hub} answered {reply.status_code}: {reply.text[:200]}")
        )
    return CarrierEvent(answer=read_answer(reply.content))


def _explained(fault: Exception, hub: str) -> DeliveryError:
    said = str(fault) or type(fault).__name__
    if "certificate" in said.casefold():
        return DeliveryError(
            f"{hub} is not the hub this node joined: its certificate is not accepted ({said})",
            remedy="Join again if the hub was set up anew: pitlogger uplink join HUB CODE",
        )
    return DeliveryError(
        f"{hub} cannot be reached ({said})", remedy="Check the network, and that the hub runs"
    )
