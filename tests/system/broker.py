"""A real Mosquitto on a random port, with or without TLS, passwords and memory."""

from __future__ import annotations

import asyncio
import json
import os
import shutil
import socket
import subprocess
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import aiomqtt
import pytest

from pitlogger.testing.waiting import until
from tests.notify.conftest import free_port

MOSQUITTO = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
NEEDS_BROKER = [
    pytest.mark.slow,
    pytest.mark.skipif(not Path(MOSQUITTO).exists(), reason="mosquitto is not installed"),
]


@dataclass
class Broker:
    """Started and stopped at will; the port stays the same."""

    folder: Path
    lines: list[str] = field(default_factory=list)
    persistent: bool = True
    port: int = field(default_factory=free_port)
    process: subprocess.Popen[bytes] | None = None

    async def start(self) -> None:
        """Start it and wait until it takes connections."""
        lines = [f"listener {self.port} 127.0.0.1", *self.lines]
        if os.geteuid() == 0:
            lines.append("user root")  # else it gives up the right to read this folder
        if not any(line.startswith("allow_anonymous") for line in lines):
            lines.append("allow_anonymous true")
        if self.persistent:
            lines += ["persistence true", f"persistence_location {self.folder}/"]
        config = self.folder / "mosquitto.conf"
        config.write_text("\n".join(lines) + "\n", encoding="utf-8")
        self._launch(config)
        await until(self._takes_connections, 10)

    def _launch(self, config: Path) -> None:
        self.process = subprocess.Popen(
            [MOSQUITTO, "-c", str(config)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    def _takes_connections(self) -> bool:
        assert self.process is not None
        assert self.process.poll() is None, "the broker ended at once: see its configuration"
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def stop(self) -> None:
        """Stop it; what it has been told to keep, it keeps."""
        if self.process is not None:
            self.process.terminate()
            self.process.wait(10)
            self.process = None


class Watcher:
    """A client that keeps all it hears under ``#``."""

    def __init__(self, client: aiomqtt.Client) -> None:
        self.client = client
        self.heard: list[aiomqtt.Message] = []

    async def listen(self) -> None:
        """Listen until the connection ends."""
        async for message in self.client.messages:
            self.heard.append(message)

    def last(self, topic: str) -> str | None:
        """Return the last payload under a topic, ``None`` if there was none or it was deleted."""
        for message in reversed(self.heard):
            if str(message.topic) == topic:
                return message.payload.decode() if isinstance(message.payload, bytes) else ""
        return None

    def document(self, topic: str) -> Any:
        """Return the last payload under a topic as JSON."""
        text = self.last(topic)
        return None if not text else json.loads(text)

    def documents(self, start: str) -> list[Any]:
        """Return every document under topics that start so, in the order heard."""
        return [
            json.loads(message.payload)
            for message in self.heard
            if str(message.topic).startswith(start) and isinstance(message.payload, bytes)
        ]


@asynccontextmanager
async def watching(port: int, **given: Any) -> AsyncIterator[Watcher]:
    """Yield a watcher that hears everything, what is retained first."""
    client = aiomqtt.Client("127.0.0.1", port, protocol=aiomqtt.ProtocolVersion.V5, **given)
    async with client:
        watcher = Watcher(client)
        await client.subscribe("#", qos=1)
        listening = asyncio.create_task(watcher.listen(), name="watcher")
        try:
            yield watcher
        finally:
            listening.cancel()
            await asyncio.gather(listening, return_exceptions=True)
