"""What happens over one connection: births, changes, readings, journal, commands, heartbeat."""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Callable
from contextlib import suppress
from typing import Any

import aiomqtt

from pitlogger.errors import DeliveryError, PitloggerError
from pitlogger.formats.json_text import parse_json
from pitlogger.notify.message import Message, message_document
from pitlogger.notify.mqtt import commands
from pitlogger.notify.mqtt.discovery import components_of, discovery, without
from pitlogger.notify.mqtt.events import Events
from pitlogger.notify.mqtt.link import NAMESAKE
from pitlogger.notify.mqtt.publisher import Publisher
from pitlogger.notify.mqtt.tree import StateTree, to_json
from pitlogger.notify.mqtt.wire import listen_to, tell
from pitlogger.notify.task_group import together
from pitlogger.questions import QuestionError
from pitlogger.views import doubting
from pitlogger.views.fanout import Happening
from pitlogger.views.node import Node

log = logging.getLogger(__name__)

HEALTH_EVERY_S = 30.0
FAREWELL_S = 2.0


class StateSession:
    """Serves the node's tree for as long as a connection lasts, connection after connection.

    With journal, commands, hub discovery and notices.
    """

    def __init__(self, node: Node) -> None:
        self._node = node
        self._tree = StateTree(node)
        self.will = self._tree.will
        self._events = Events(node, self._tree)
        self._publisher: Publisher
        self._table = node.config.mqtt
        self._components: dict[str, str] = {}  # what the hub knows of us: platform by id
        self.client: aiomqtt.Client | None = None
        self._report: Callable[[DeliveryError], None] = lambda fault: None

    def begin(self, report: Callable[[DeliveryError], None]) -> None:
        """Let the journal be published from now on, even if the broker is not there yet.

        Args:
            report: Told where another node publishes under the same name.
        """
        self._report = report
        self._events.begin()

    async def serve(self, client: aiomqtt.Client) -> None:
        """Publish until the connection is lost or the task is cancelled."""
        self._publisher = Publisher(self._node, self._tree, client)
        try:
            async with self._node.fanout.listen() as happenings:
                await self._publisher.begin()
                await self._began(client)
                await together(
                    self._follow(client, happenings),
                    self._publisher.readings_for_ever(),
                    self._listen(client),
                    self._beat(),
                    name="mqtt",
                )
        finally:
            with suppress(aiomqtt.MqttError, TimeoutError):
                async with asyncio.timeout(FAREWELL_S):
                    await self._publisher.put([self.will])
            self.client = None
            self._events.save()

    async def _began(self, client: aiomqtt.Client) -> None:
        if (prefix := self._table.discovery_prefix) is not None:
            await listen_to(client, f"{prefix}/status")
            await listen_to(client, discovery(self._node, self._tree.root, prefix)[0])
        await self._refresh()
        self.client = client
        await self._events.catch_up(client)

    async def _refresh(self, anew: bool = False) -> None:
        """Publish what changed; describe the node to the hub, ``anew`` if it has forgotten."""
        prefix = self._table.discovery_prefix
        if prefix is None:
            await self._publisher.refresh()
            return
        topic, document = discovery(self._node, self._tree.root, prefix)
        parts = document["cmps"]
        gone = {id_: kind for id_, kind in self._components.items() if id_ not in parts}
        self._components = {id_: part["p"] for id_, part in parts.items()}
        described = (topic, to_json(document))
        if gone:
            await self._publisher.put([(topic, to_json(without(document, gone)))])
        if gone or anew:
            await self._publisher.put([described])
        await self._publisher.refresh((described,))

    async def _follow(self, client: aiomqtt.Client, queue: asyncio.Queue[Happening]) -> None:
        while True:
            happening = await queue.get()
            if happening.kind in ("alert", "entry"):
                await self._refresh()
                await self._events.take(client, happening)

    async def _listen(self, client: aiomqtt.Client) -> None:
        async for message in client.messages:
            topic = str(message.topic)
            if message.retain and message.payload and topic.startswith(f"{self._tree.root}/"):
                await self._publisher.clear(topic)
            try:
                await self._heard(client, topic, message)
            except aiomqtt.MqttError:
                raise
            except Exception:  # of ours: one message must not keep the next ones from us
                log.exception("a message on %s was passed over", topic)

    async def _beat(self) -> None:
        while True:
            await self._publisher.put([self._tree.health()])
            await asyncio.sleep(HEALTH_EVERY_S)

    async def _heard(self, client: aiomqtt.Client, topic: str, message: aiomqtt.Message) -> None:
        if topic == f"{self._table.discovery_prefix}/status" and message.payload == b"online":
            await self._refresh(anew=True)
        elif message.retain and topic.startswith(f"{self._table.discovery_prefix}/device/"):
            self._components |= components_of(message.payload)
            await self._refresh()
        elif topic == f"{self._tree.root}/health" and not message.retain:
            self._meet(message.payload)
        elif topic == f"{self._tree.root}/command" and message.payload:
            answer = await self._obey(message)
            await tell(client, f"{self._tree.root}/answer", to_json(answer))

    def _meet(self, payload: object) -> None:
        """Report another node that lives under this one's name: both trees are then wrong."""
        try:
            other = parse_json(payload if isinstance(payload, bytes) else b"").get("node")
        except (ValueError, AttributeError):
            return
        if other not in (None, self._node.uid):
            self._report(NAMESAKE)

    async def _obey(self, message: aiomqtt.Message) -> dict[str, Any]:
        """Carry out a command and return the answer to it; the same key again does nothing."""
        payload = message.payload if isinstance(message.payload, bytes) else b""
        answer = {"v": 1, "key": commands.key_of(payload), "done": False}
        if not self._table.commands:
            return answer | {"error": "commands are off: set commands = true in [mqtt]"}
        expiry_s = getattr(message.properties, "MessageExpiryInterval", None)
        arrived = commands.Arrived(payload, message.retain, expiry_s)
        try:
            now_ms = self._node.clock.engine_ms()
            asked = commands.read(arrived, now_ms, self._node.utc_offset_ms)
            book, units = self._node.engine.book, self._node.units
            body = doubting.asked(asked.body, book, asked.answers, units)
            entry = await self._node.submit(body, asked.by, asked.key)
        except QuestionError as fault:
            why = f"nothing was done: {fault.asked.question} Send it again with 'confirm'"
            return answer | {"error": why} | fault.asked.document()
        except PitloggerError as fault:
            return answer | {"error": str(fault)}
        if not self._node.is_on_disk(entry):
            why = "kept in memory, not yet on disk: send it again with the same key"
            return answer | {"error": why, "durable": False}
        return answer | {"done": True, "id": f"{entry.run}/{entry.seq}", "entry": entry.id}

    async def send(self, message: Message) -> str:
        """Publish a message for people; makes this session a way of being heard.

        Raises:
            DeliveryError: The broker is away.
        """
        if self.client is None:
            raise DeliveryError("the broker is away", remedy="See what [mqtt] reports")
        document = json.dumps(message_document(message), ensure_ascii=False)
        try:
            await tell(self.client, f"{self._tree.root}/notice", document)
        except aiomqtt.MqttError as fault:
            raise DeliveryError(f"the broker is away ({fault})") from None
        return "the broker took it"
