"""Trying each way of being heard, from the configuration alone: the daemon need not run."""

from __future__ import annotations

import asyncio
import json
from dataclasses import dataclass

from pitlogger.config import Config
from pitlogger.errors import DeliveryError, UsageError, unknown
from pitlogger.notify.message import Message, message_document, test_message
from pitlogger.notify.ways.make import make_way

PATIENCE_S = 30.0
SOUNDER = "sounder"


@dataclass(frozen=True, slots=True)
class TestMessage:
    """What became of one test message; ``said`` is what is known of its arrival."""

    way: str
    kind: str
    arrived: bool
    said: str


class Echo:
    """The broker of ``[mqtt]``: a message has arrived when it comes back."""

    def __init__(self, config: Config) -> None:
        self._config = config

    async def send(self, message: Message) -> str:
        """Publish under the notice topic and wait for it to come back."""
        import aiomqtt

        from pitlogger.notify.mqtt.link import MqttLink
        from pitlogger.notify.mqtt.tree import level

        mqtt = self._config.mqtt
        topic = f"{mqtt.base}/{level(self._config.node.name)}/notice"
        link = MqttLink(mqtt, f"pitlogger-test-{message.at_ms}", None, lambda fault: None)
        try:
            async with link.client() as client:
                await client.subscribe(topic, qos=1)
                await client.publish(topic, json.dumps(message_document(message)), qos=1)
                async for heard in client.messages:
                    if isinstance(heard.payload, bytes) and message.id.encode() in heard.payload:
                        return f"it came back from the broker under {topic}"
        except (aiomqtt.MqttError, OSError) as fault:
            raise link.explain(fault) from None
        raise DeliveryError("the broker closed the connection")


def way_ids(config: Config) -> list[str]:
    """Return what can be tried: ways, and the sounder where there is one."""
    sounder = [SOUNDER] if config.notify.sounder is not None else []
    return [*sounder, *(way.id for way in config.notify.way)]


async def try_ways(config: Config, ids: tuple[str, ...], utc_ms: int) -> list[TestMessage]:
    """Send a test message by each way named, by all if none is.

    Raises:
        UsageError: A way that is not configured, or none is.
    """
    known = way_ids(config)
    if not known:
        raise UsageError("no way of being told is configured: add a [[notify.way]]")
    for name in ids:
        if name not in known:
            raise UsageError(unknown("way", name, known))
    wanted = [name for name in known if not ids or name in ids]
    message = test_message(config.node.name, utc_ms)
    return list(await asyncio.gather(*(_try(config, name, message) for name in wanted)))


async def _try(config: Config, name: str, message: Message) -> TestMessage:
    kind = next((way.kind for way in config.notify.way if way.id == name), SOUNDER)
    try:
        async with asyncio.timeout(PATIENCE_S):
            said = await (_try_sounder(config) if name == SOUNDER else _send(config, name, message))
    except DeliveryError as fault:
        return TestMessage(name, kind, False, str(fault))
    except TimeoutError:
        return TestMessage(name, kind, False, f"no answer within {PATIENCE_S:.0f} s")
    return TestMessage(name, kind, True, said)


async def _send(config: Config, name: str, message: Message) -> str:
    table = next(way for way in config.notify.way if way.id == name)
    broker = Echo(config) if config.mqtt.enabled else None
    return await make_way(table, broker).send(message)


async def _try_sounder(config: Config) -> str:
    from pitlogger.notify.ways.sounder import Sounder

    assert config.notify.sounder is not None
    sounder = Sounder(config.notify.sounder, lambda: None)
    try:
        return await asyncio.to_thread(sounder.try_out)
    finally:
        sounder.close()
