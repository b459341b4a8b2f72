"""A daemon that publishes to a real broker, and how a test talks to it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from pitlogger.clock import ManualClock
from pitlogger.config import Config, parse_config
from pitlogger.engine.inputs import Command
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.alerts import AlertState
from pitlogger.model.journal import CookStarted, TroubleChanged
from pitlogger.model.readings import Quality, Reading
from pitlogger.node.daemon import Daemon
from pitlogger.testing.waiting import until
from tests.system.broker import Broker

NOW_MS = 1_790_000_000_000
ROOT = "pitlogger/pit"
COOK = """
[cook]
name = "harvest supper"
[[piece]]
id = "brisket-1"
cut = "brisket-packer"
[[channel]]
id = "brisket-1/core"
site = "core"
piece = "brisket-1"
[[channel]]
id = "pit"
site = "pit"
"""


class PublishingNode:
    """A daemon told to publish, with a clock that a hand turns."""

    def __init__(self, folder: Path, broker: Broker, more: str = "", after: str = "") -> None:
        self.clock = ManualClock(NOW_MS)
        self.config = parse_config(
            f'[node]\ndata = "{folder / "data"}"\n[mqtt]\nenabled = true\nhost = "localhost"\n'
            f"port = {broker.port}\n{more}\n{after}"
        )
        self.daemon = Daemon(self.config, self.clock)

    async def __aenter__(self) -> PublishingNode:
        await self.daemon.__aenter__()
        return self

    async def __aexit__(self, *exc: Any) -> None:
        await self.daemon.__aexit__(None, None, None)

    def with_port(self, port: int) -> Config:
        mqtt = self.config.mqtt.model_copy(update={"port": port})
        return self.config.model_copy(update={"mqtt": mqtt})

    def without_broker(self) -> Config:
        mqtt = self.config.mqtt.model_copy(update={"enabled": False})
        return self.config.model_copy(update={"mqtt": mqtt})

    def say(self, body: Any) -> None:
        self.daemon.feed(Command(self.clock.engine_ms(), body))

    def start_cook(self) -> None:
        self.say(CookStarted(parse_cook(COOK)))

    def read(self, channel: str, celsius: float | None, quality: Quality = Quality.GOOD) -> None:
        value = None if celsius is None else round(celsius * 1000)
        self.daemon.feed(Reading(channel, self.clock.engine_ms(), value, quality))

    def pass_s(self, seconds: float) -> None:
        self.clock.advance(round(seconds * 1000))
        self.daemon.tick(self.clock.engine_ms())

    def alert_message(self, key: str) -> str:
        watch = self.daemon.engine.state.watches.get(key)
        return watch.message if watch and watch.state is AlertState.UNACKNOWLEDGED else ""


DISK_LOW = TroubleChanged("disk-low", "node", True, "2 % of the disk are free", "Make room")
DISK_FINE = TroubleChanged("disk-low", "node", False)


def expiring(seconds: int) -> Properties:
    properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
    properties.MessageExpiryInterval = seconds
    return properties


async def ask(hub: Any, document: dict[str, Any], **given: Any) -> dict[str, Any]:
    """Publish a command and return the answer to it."""
    await until(lambda: hub.last(f"{ROOT}/health") is not None)
    before = len(hub.documents(f"{ROOT}/answer"))
    await hub.client.publish(f"{ROOT}/command", json.dumps(document), qos=1, **given)
    await until(lambda: len(hub.documents(f"{ROOT}/answer")) > before)
    answer: dict[str, Any] = hub.documents(f"{ROOT}/answer")[-1]
    return answer


NOTE = {"key": "k1", "do": "note", "text": "fire is lit", "by": "JD"}
