"""Messages made to end whoever reads them, at a real broker: the next one is heard all the same."""

from __future__ import annotations

import json
from pathlib import Path

from tests.system.broker import NEEDS_BROKER, Broker, watching
from tests.system.publishing import NOTE, ROOT, PublishingNode, ask, expiring

pytestmark = NEEDS_BROKER
DEEP = b"[" * 100_000
POISON = (
    DEEP, b'{"key":' * 500, b'{"key":"\\ud800"}', b"\xff\xfe", b'{"key":"a","at":1e999}',
    b'{"key":"a","do":"note","text":"x","at":"9999-12-31T23:59:59-14:00"}',
)  # fmt: skip


async def test_no_message_keeps_the_next_one_from_being_heard(
    tmp_path: Path, broker: Broker
) -> None:
    more = 'commands = true\ndiscovery_prefix = "homeassistant"'
    async with watching(broker.port) as hub:
        topic = "homeassistant/device/pitlogger-pit/config"
        await hub.client.publish(topic, DEEP, qos=1, retain=True)
        async with PublishingNode(tmp_path, broker, more) as node:
            node.start_cook()
            await ask(hub, NOTE | {"key": "first"}, properties=expiring(30))
            for number, poison in enumerate(POISON):
                await hub.client.publish(f"{ROOT}/health", DEEP, qos=1)
                await hub.client.publish(f"{ROOT}/command", poison, qos=1)
                note = NOTE | {"key": f"k{number}"}
                answer = await ask(hub, note, properties=expiring(30))
                while answer["key"] != note["key"]:
                    answer = hub.documents(f"{ROOT}/answer")[-1]
                    await hub.client.publish("x", json.dumps(0), qos=1)
                assert answer["done"]
            assert len(node.daemon.engine.book.notes) == 1 + len(POISON)
