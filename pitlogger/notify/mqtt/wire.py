"""Publishing and subscribing, so that a request to end is never lost in them.

aiomqtt waits with ``asyncio.wait_for``, which up to Python 3.11 swallows a cancellation that
comes in the same turn of the loop as the answer.
"""

from __future__ import annotations

import aiomqtt
from paho.mqtt.subscribeoptions import SubscribeOptions

from pitlogger.devices.tasks import heed_cancelling

# Retained as published: else the broker hides from who is subscribed that a message was retained
# (MQTT 5, 3.8.3.1), and the first retained command would be carried out.
_OTHERS = SubscribeOptions(qos=1, noLocal=True, retainAsPublished=True)


async def retain(client: aiomqtt.Client, topic: str, payload: str | None, qos: int = 1) -> None:
    """Publish what is to be kept under a topic; ``None`` deletes it."""
    await client.publish(topic, payload, qos=qos, retain=True)
    heed_cancelling()


async def tell(client: aiomqtt.Client, topic: str, payload: str) -> None:
    """Publish what is said once and not retained, at least once."""
    await client.publish(topic, payload, qos=1)
    heed_cancelling()


async def listen_to(client: aiomqtt.Client, topic: str) -> None:
    """Subscribe to what others publish under a topic, but not to our own."""
    await client.subscribe(topic, options=_OTHERS)
    heed_cancelling()
