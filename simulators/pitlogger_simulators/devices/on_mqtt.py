"""A board that publishes its probes over MQTT as SenML packs."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from contextlib import suppress
from typing import Any

import aiomqtt

from pitlogger.errors import UsageError
from pitlogger_simulators.devices.emulated import Emulated
from pitlogger_simulators.devices.frames import senml_pack
from pitlogger_simulators.play import Outlet, Play
from pitlogger_simulators.scenarios.form import DeviceForm

_QUEUED = 100  # packs kept while the broker is away; the oldest go first
_RETRY_S = 0.5


class MqttBoard(Emulated):
    """Publishes to ``simulated/<device>``; losing the link is losing the broker."""

    driver = "mqtt-senml"

    def __init__(self, play: Play, table: DeviceForm) -> None:
        super().__init__(play, table)
        self.host, _, port = table.broker.partition(":")
        if not port.isdigit():
            raise UsageError(f"broker '{table.broker}': expected host:port, as in localhost:1883")
        self.port = int(port)
        self.topic = f"simulated/{table.id}"
        self._packs: asyncio.Queue[bytes] = asyncio.Queue()
        self._task = asyncio.get_running_loop().create_task(self._publish(), name="mqtt-board")

    def send(self, due: Sequence[Outlet]) -> None:
        for channel, sample in self.samples(due).items():
            pack = senml_pack(channel, sample, self.play.now_ms / 1000)
            for frame in self.play.faults.frames(self.table.id, self.play.now_ms, [pack]):
                if self._packs.qsize() >= _QUEUED:
                    self._packs.get_nowait()
                self._packs.put_nowait(frame)

    def link(self, up: bool) -> None:
        self._task.cancel()
        if up:
            self._task = asyncio.get_running_loop().create_task(self._publish(), name="mqtt-board")

    def keys(self) -> dict[str, Any]:
        return {"host": self.host, "port": self.port, "topic": self.topic}

    def channel_name(self, channel: str) -> str:
        return channel

    def close(self) -> None:
        self._task.cancel()

    async def _publish(self) -> None:
        while True:
            with suppress(aiomqtt.MqttError):
                async with aiomqtt.Client(self.host, self.port) as client:
                    while True:
                        await client.publish(self.topic, await self._packs.get())
            await asyncio.sleep(_RETRY_S)
