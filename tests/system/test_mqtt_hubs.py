"""What a home hub finds at a real broker, and what it is told is gone."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pitlogger.model.journal import CookFinished
from pitlogger.testing.waiting import until
from tests.system.broker import NEEDS_BROKER, Broker, watching
from tests.system.publishing import ROOT, PublishingNode

pytestmark = NEEDS_BROKER


async def test_a_hub_finds_the_node_in_one_message_and_again_when_it_starts(
    tmp_path: Path, broker: Broker
) -> None:
    topic = "homeassistant/device/pitlogger-pit/config"
    given = 'discovery_prefix = "homeassistant"'
    async with PublishingNode(tmp_path, broker, given) as node, watching(broker.port) as hub:
        node.start_cook()
        await until(lambda: "stage-brisket-1" in (hub.document(topic) or {}).get("cmps", {}))
        document = hub.document(topic)
        assert document["o"]["name"] == "pitlogger"
        assert all({"p", "unique_id"} <= each.keys() for each in document["cmps"].values())
        assert document["availability"][0]["topic"] == f"{ROOT}/status"
        core = document["cmps"]["channel-brisket-1-core"]
        assert (core["device_class"], core["unit_of_measurement"]) == ("temperature", "°C")
        count = len(hub.documents(topic))
        await hub.client.publish("homeassistant/status", "online", qos=1)
        await until(lambda: len(hub.documents(topic)) == count + 1)


async def test_a_hub_is_told_what_is_gone_also_after_a_restart(
    tmp_path: Path, broker: Broker
) -> None:
    topic = "homeassistant/device/pitlogger-pit/config"
    given = 'discovery_prefix = "homeassistant"'
    stage = "stage-brisket-1"
    async with PublishingNode(tmp_path, broker, given) as node, watching(broker.port) as hub:
        node.start_cook()
        await until(lambda: stage in (hub.document(topic) or {}).get("cmps", {}))
    parts = {"p": "sensor", "unique_id": "x", "state_topic": "y"}
    stale = json.dumps({"cmps": {"channel-gone": parts}})
    async with watching(broker.port) as hub:
        await hub.client.publish(topic, stale, qos=1, retain=True)
        async with PublishingNode(tmp_path, broker, given) as node:
            await until(lambda: stage in (hub.document(topic) or {}).get("cmps", {}))
            node.say(CookFinished("harvest supper"))
            await until(lambda: {"p": "sensor"} in seen(hub, topic, stage))
            await until(lambda: {"p": "sensor"} in seen(hub, topic, "channel-gone"))
            await until(lambda: {stage, "channel-gone"}.isdisjoint(hub.document(topic)["cmps"]))


def seen(hub: Any, topic: str, component: str) -> list[Any]:
    """Return what was said of a component, description by description."""
    return [document["cmps"].get(component) for document in hub.documents(topic)]
