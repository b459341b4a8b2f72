"""Messages of a broker, through aiomqtt; a new client for each connection."""

from __future__ import annotations

import asyncio
import ssl
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack
from dataclasses import dataclass

import aiomqtt

from pitlogger.devices.contract import Chunk
from pitlogger.errors import TransportError

MOST_WAITING = 1000  # messages; of a flood the rest is passed over, and the log says so


@dataclass(frozen=True, slots=True)
class BrokerSettings:
    """A broker and the topics wanted of it."""

    host: str
    port: int
    topic: str
    username: str = ""
    password: str = ""
    tls: bool = False
    ca_file: str = ""
    patience_s: float = 10.0


class BrokerTransport:
    """Subscribes to topics and yields payloads; ``source`` is empty, the pack names channels."""

    def __init__(self, settings: BrokerSettings) -> None:
        self._settings = settings
        self._stack = AsyncExitStack()
        self._client: aiomqtt.Client | None = None

    async def __aenter__(self) -> BrokerTransport:
        given = self._settings
        try:
            async with AsyncExitStack() as stack, asyncio.timeout(given.patience_s):
                client = aiomqtt.Client(
                    given.host,
                    given.port,
                    username=given.username or None,
                    password=given.password or None,
                    tls_context=self._tls(),
                    timeout=given.patience_s,
                    max_queued_incoming_messages=MOST_WAITING,
                )
                self._client = await stack.enter_async_context(client)
                await self._client.subscribe(given.topic, qos=1)
                self._stack = stack.pop_all()
        except (aiomqtt.MqttError, OSError, TimeoutError) as error:
            raise self._trouble(error) from error
        return self

    async def __aexit__(self, *exc: object) -> None:
        self._client = None
        try:
            await self._stack.aclose()
        except aiomqtt.MqttError:
            return  # the broker is gone: there is nothing to take leave of

    async def send(self, data: bytes) -> None:
        """Refuse: this way is for receiving."""
        raise TransportError(f"MQTT input takes no commands ({data.hex()})")

    async def chunks(self) -> AsyncIterator[Chunk]:
        """Yield payloads.

        Raises:
            TransportError: The broker went away.
        """
        assert self._client is not None
        try:
            async for message in self._client.messages:
                if isinstance(message.payload, bytes):
                    yield Chunk("", message.payload)
        except aiomqtt.MqttError as error:
            raise self._trouble(error) from error

    def _tls(self) -> ssl.SSLContext | None:
        if not self._settings.tls:
            return None
        return ssl.create_default_context(cafile=self._settings.ca_file or None)

    def _trouble(self, error: Exception) -> TransportError:
        given = self._settings
        return TransportError(
            f"broker {given.host}:{given.port}: {error or type(error).__name__}",
            remedy="Check that it runs, its address, user name and password, and its certificate",
        )
