"""Messages of a broker, through aiomqtt; a new client for each connection."""

from __future__ import annotations

import asyncio
import ssl
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack
from typing import TYPE_CHECKING

import aiomqtt

from pitlogger.devices.contract import Chunk
from pitlogger.errors import TransportError

if TYPE_CHECKING:
    from pitlogger_drivers.mqtt_senml.driver import MqttSenmlConfig

MOST_WAITING = 1000  # messages; of a flood the rest is passed over, and the log says so
PATIENCE_S = 10.0


class BrokerTransport:
    """Subscribes to topics and yields payloads; ``source`` is empty, the pack names channels."""

    def __init__(self, config: MqttSenmlConfig) -> None:
        self._config = config
        self._stack = AsyncExitStack()
        self._client: aiomqtt.Client | None = None

    async def __aenter__(self) -> BrokerTransport:
        given = self._config
        try:
            async with AsyncExitStack() as stack, asyncio.timeout(PATIENCE_S):
                client = aiomqtt.Client(
                    given.host,
                    given.port,
                    username=given.username or None,
                    password=given.password.get_secret_value() or None,
                    tls_context=self._tls(),
                    timeout=PATIENCE_S,
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
        if not self._config.tls:
            return None
        return ssl.create_default_context(cafile=self._config.ca_file or None)

    def _trouble(self, error: Exception) -> TransportError:
        given = self._config
        return TransportError(
            f"broker {given.host}:{given.port}: {error or type(error).__name__}",
            remedy="Check that it runs, its address, user name and password, and its certificate",
        )
