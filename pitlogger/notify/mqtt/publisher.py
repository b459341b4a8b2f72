"""Keeps what a broker retains for a tree equal to how things stand.

Only what changed is published. Readings go out at most so often a channel, the newest
only: nothing queues up while the broker is slow or away.
"""

from __future__ import annotations

import asyncio
import time

import aiomqtt

from pitlogger.clock import Clock
from pitlogger.config import MqttTable
from pitlogger.engine.compiled_channel import Lane
from pitlogger.notify.mqtt.tree import StateTree
from pitlogger.notify.mqtt.wire import listen_to, retain
from pitlogger.views.node import Node

LONGEST_TICK_S = 1.0
LEAST_TICK_S = 0.05


class Publisher:
    """Publishes one tree over one connection."""

    def __init__(self, node: Node, tree: StateTree, client: aiomqtt.Client) -> None:
        self._node = node
        self._tree = tree
        self._client = client
        self._table: MqttTable = node.config.mqtt
        self._clock: Clock = node.clock
        self._retained: dict[str, str] = {}
        self._heard_ms: dict[str, int] = {}
        self._sent_s: dict[str, float] = {}

    async def begin(self) -> None:
        """Publish all that is retained; ask for what the broker still holds of earlier times."""
        await self.refresh()
        await listen_to(self._client, f"{self._tree.root}/#")

    async def put(self, retained: list[tuple[str, str]]) -> None:
        """Publish documents to be retained."""
        for topic, payload in retained:
            await retain(self._client, topic, payload)

    async def refresh(self, extra: tuple[tuple[str, str], ...] = ()) -> None:
        """Publish what changed and delete what no longer stands.

        Args:
            extra: Topics outside the tree and their documents.
        """
        wanted = self._tree.state() | dict(extra)
        changed = {
            topic: payload
            for topic, payload in wanted.items()
            if self._retained.get(topic) != payload
        }
        gone = [topic for topic in self._retained if topic not in wanted]
        for topic in gone:
            await retain(self._client, topic, None)
        await self.put(list(changed.items()))
        self._retained = wanted

    async def clear(self, topic: str) -> None:
        """Delete what the broker retains under a topic of the tree that stands no more."""
        if topic not in self._retained and not self._is_reading(topic):
            await retain(self._client, topic, None)

    def _is_reading(self, topic: str) -> bool:
        told = [self._tree.reading(lane)[0] for lane in self._lanes()]
        return topic in told or topic.endswith("/health")

    def _lanes(self) -> list[Lane]:
        return list(self._node.engine.lanes.values())

    async def readings_for_ever(self) -> None:
        """Publish the newest reading of each channel, each at its own pace."""
        rates = [self._table.max_per_s, *self._table.limits.values()]
        tick_s = min(LONGEST_TICK_S, max(LEAST_TICK_S, 1 / max(rates)))
        while True:
            await self.readings(time.monotonic())
            await asyncio.sleep(tick_s)

    async def readings(self, now_s: float) -> None:
        """Publish what is new and due at a monotonic time."""
        for lane in self._lanes():
            channel, heard_ms = lane.state.id, lane.state.heard_ms
            if heard_ms < 0 or self._heard_ms.get(channel) == heard_ms:
                continue
            pause_s = 1 / self._table.limits.get(channel, self._table.max_per_s)
            if now_s - self._sent_s.get(channel, -pause_s) < pause_s * 0.95:
                continue
            self._heard_ms[channel], self._sent_s[channel] = heard_ms, now_s
            await retain(self._client, *self._tree.reading(lane), qos=0)
