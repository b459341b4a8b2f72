"""Ways over plain HTTP: ntfy, gotify, webhook.

Sources: ntfy documentation, publish as JSON; gotify API, create message; RFC 9110 (status
codes); the ``Idempotency-Key`` header is an IETF draft.
"""

from __future__ import annotations

import encodings.idna  # noqa: F401  # loaded by the first look-up of a name, if not now
import json
import ssl
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

import anyio._backends._asyncio  # noqa: F401  # by the first connection: an alarm, if not now
import httpx

from pitlogger.config_notify import GotifyTable, NtfyTable, WebhookTable
from pitlogger.errors import DeliveryError
from pitlogger.model.alerts import Priority
from pitlogger.notify.message import Message, message_document
from pitlogger.notify.ways.way import read_secret

TIMEOUT_S = 10.0
_PRIORITY = {
    "ntfy": {Priority.LOW: 3, Priority.MEDIUM: 4, Priority.HIGH: 5},
    "gotify": {Priority.LOW: 4, Priority.MEDIUM: 6, Priority.HIGH: 9},
}
_TRY_AGAIN = frozenset({408, 425, 429})


class Poster:
    """Posts JSON to one address."""

    def __init__(self, url: str, ca_file: Path | None = None) -> None:
        self.url = url
        self._ca_file = ca_file
        self._trusted: ssl.SSLContext | None = None
        with suppress(DeliveryError):  # reported when something is sent
            self._trust()

    async def post(self, document: Mapping[str, Any], headers: Mapping[str, str]) -> str:
        """Post and return what the server said.

        Raises:
            DeliveryError: No answer, or one that is no success.
        """
        try:
            async with httpx.AsyncClient(verify=self._trust(), timeout=TIMEOUT_S) as client:
                answer = await client.post(
                    self.url,
                    content=json.dumps(document, ensure_ascii=False).encode(),
                    headers={"Content-Type": "application/json", **headers},
                )
        except httpx.HTTPError as fault:
            raise DeliveryError(
                f"{self.url} cannot be reached ({fault or type(fault).__name__})",
                remedy="Check the address, the network and that the server runs",
            ) from None
        if answer.is_success:
            return f"the server took it ({answer.status_code})"
        code = answer.status_code
        raise DeliveryError(
            f"{self.url} answered {code} {answer.reason_phrase}",
            remedy=_remedy(code),
            for_good=400 <= code < 500 and code not in _TRY_AGAIN,
        )

    def _trust(self) -> ssl.SSLContext | bool:
        """Return who is trusted; read once, as it takes long and a descriptor."""
        if self._trusted is None and self.url.startswith("https:"):
            try:
                self._trusted = (
                    httpx.create_ssl_context()
                    if self._ca_file is None
                    else ssl.create_default_context(cafile=self._ca_file)
                )
            except (OSError, ssl.SSLError) as fault:
                raise DeliveryError(
                    f"the authority in {self._ca_file} cannot be read ({fault})", for_good=True
                ) from None
        return self._trusted or False


def _remedy(code: int) -> str:
    if code in (401, 403):
        return "Check the token and what it may do"
    if code in (404, 405, 410):
        return "Check the path of the address"
    return "See the server's own log"


class HttpWay:
    """A topic of an ntfy server, an application of a gotify server, or a program of one's own."""

    def __init__(self, table: NtfyTable | GotifyTable | WebhookTable) -> None:
        self._table = table
        server, _, self._topic = table.url.rpartition("/")
        places = {"ntfy": f"{server}/", "gotify": f"{table.url.rstrip('/')}/message"}
        self._poster = Poster(places.get(table.kind, table.url), table.ca_file)

    async def send(self, message: Message) -> str:
        """Send; low priority makes no noise when something is back in band."""
        table = self._table
        token = None if table.token_file is None else read_secret(table.token_file)
        bearer = {} if token is None else {"Authorization": f"Bearer {token}"}
        if table.kind == "webhook":
            headers = {**bearer, "Idempotency-Key": f'"{message.id}"'}
            return await self._poster.post(message_document(message), headers)
        quiet = message.kind in ("returned", "alive")
        document = {
            "title": message.title,
            "message": message.text,
            "priority": 2 if quiet else _PRIORITY[table.kind][message.priority],
        }
        if table.kind == "gotify":
            return await self._poster.post(document, {"X-Gotify-Key": token or ""})
        return await self._poster.post({"topic": self._topic, **document}, bearer)
