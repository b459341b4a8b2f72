"""The daemon and a real broker that is away, forgetful, moved or dead."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pitlogger.model.journal import Noted
from pitlogger.testing.waiting import until
from tests.system.broker import NEEDS_BROKER, Broker, watching
from tests.system.publishing import (
    ROOT,
    PublishingNode,
)

pytestmark = NEEDS_BROKER


def noted(hub: Any) -> list[str]:
    return [document["text"] for document in hub.documents(f"{ROOT}/event/noted")]


async def test_an_hour_without_broker_loses_no_entry_and_keeps_order(
    tmp_path: Path, broker: Broker
) -> None:
    async with PublishingNode(tmp_path, broker) as node:
        async with watching(broker.port) as hub:
            await until(lambda: hub.last(f"{ROOT}/status") == "online")
            node.say(Noted("before"))
            await until(lambda: noted(hub) == ["before"])
        broker.stop()
        for minute in range(60):
            node.pass_s(60)
            node.say(Noted(f"minute {minute}"))
            node.read("pit", 100 + minute)
        await broker.start()
        async with watching(broker.port) as hub:
            await until(lambda: len(noted(hub)) == 60, 10)
            assert noted(hub) == [f"minute {minute}" for minute in range(60)]
            await until(lambda: hub.document(f"{ROOT}/channel/pit") is not None)
            assert [pack[0]["v"] for pack in hub.documents(f"{ROOT}/channel/pit")][-1] == 159


async def test_entries_made_while_the_broker_was_away_survive_a_restart_of_the_node(
    tmp_path: Path, broker: Broker
) -> None:
    async with PublishingNode(tmp_path, broker) as node, watching(broker.port) as hub:
        await until(lambda: hub.last(f"{ROOT}/status") == "online")
        node.say(Noted("told"))
        await until(lambda: noted(hub) == ["told"])
        broker.stop()
        node.say(Noted("untold"))
        await until(lambda: node.daemon.journalling.is_settled)
    await broker.start()
    async with watching(broker.port) as hub, PublishingNode(tmp_path, broker):
        await until(lambda: noted(hub) == ["untold"], 10)


async def test_a_broker_that_forgot_everything_is_told_everything_again(
    tmp_path: Path, broker: Broker
) -> None:
    broker.persistent = False
    async with PublishingNode(tmp_path, broker) as node:
        node.start_cook()
        async with watching(broker.port) as hub:
            await until(lambda: hub.document(f"{ROOT}/piece/brisket-1") is not None)
        broker.stop()
        for left in broker.folder.glob("mosquitto.db"):
            left.unlink()
        await broker.start()
        async with watching(broker.port) as hub:
            await until(lambda: hub.document(f"{ROOT}/piece/brisket-1") is not None, 10)


async def test_a_dead_node_is_noticed(tmp_path: Path, broker: Broker) -> None:
    async with PublishingNode(tmp_path, broker) as node, watching(broker.port) as hub:
        await until(lambda: hub.last(f"{ROOT}/status") == "online")
        session = node.daemon.notifier.broker
        assert session is not None
        await until(lambda: session.client is not None)
        assert session.client is not None
        session.client._client._sock_close()  # as when power fails: no farewell
        await until(lambda: hub.last(f"{ROOT}/status") == "offline", 10)


# -- who may connect ------------------------------------------------------------------------
