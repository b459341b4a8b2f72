"""The daemon and a real broker: what it publishes."""

from __future__ import annotations

import asyncio
from pathlib import Path

from pitlogger.model.journal import AlertActed
from pitlogger.model.readings import Quality
from pitlogger.testing.waiting import until
from tests.system.broker import NEEDS_BROKER, Broker, watching
from tests.system.publishing import (
    DISK_FINE,
    DISK_LOW,
    NOW_MS,
    ROOT,
    PublishingNode,
)

pytestmark = NEEDS_BROKER


async def test_a_node_is_online_while_it_runs_and_offline_after_a_clean_end(
    tmp_path: Path, broker: Broker
) -> None:
    async with watching(broker.port) as hub:
        async with PublishingNode(tmp_path, broker):
            await until(lambda: hub.last(f"{ROOT}/status") == "online")
        await until(lambda: hub.last(f"{ROOT}/status") == "offline")


async def test_cook_and_pieces_are_retained_for_whoever_comes_later(
    tmp_path: Path, broker: Broker
) -> None:
    async with PublishingNode(tmp_path, broker) as node:
        node.start_cook()
        async with watching(broker.port) as hub:
            await until(lambda: hub.document(f"{ROOT}/piece/brisket-1") is not None)
            assert hub.document(f"{ROOT}/piece/brisket-1")["stage"] == "raw"
            assert hub.document(f"{ROOT}/cook")["cook"]["name"] == "harvest supper"


async def test_a_reading_is_a_retained_senml_pack(tmp_path: Path, broker: Broker) -> None:
    async with PublishingNode(tmp_path, broker) as node:
        node.start_cook()
        node.read("brisket-1/core", 71.25)
        async with watching(broker.port) as hub:
            topic = f"{ROOT}/channel/brisket-1/core"
            await until(lambda: hub.document(topic) is not None)
            assert hub.document(topic) == [
                {"n": "brisket-1/core", "u": "Cel", "v": 71.25, "t": NOW_MS / 1000}
            ]


async def test_an_open_probe_says_so_instead_of_a_value(tmp_path: Path, broker: Broker) -> None:
    async with PublishingNode(tmp_path, broker) as node, watching(broker.port) as hub:
        node.start_cook()
        node.read("pit", None, Quality.OPEN)
        await until(lambda: hub.document(f"{ROOT}/channel/pit") is not None)
        assert hub.document(f"{ROOT}/channel/pit")[0]["vs"] == "!open"


async def test_a_channel_is_published_no_faster_than_its_limit(
    tmp_path: Path, broker: Broker
) -> None:
    async with PublishingNode(tmp_path, broker) as node, watching(broker.port) as hub:
        node.start_cook()
        for tenth in range(50):
            node.read("pit", 110 + tenth / 10)
            node.pass_s(0.1)
            await asyncio.sleep(0.01)  # half a second of real time, in which one may go out
        told = hub.documents(f"{ROOT}/channel/pit")
        assert 1 <= len(told) <= 2


async def test_an_alert_is_retained_while_it_stands_and_deleted_after(
    tmp_path: Path, broker: Broker
) -> None:
    topic = f"{ROOT}/alert/disk-low/node"
    async with PublishingNode(tmp_path, broker) as node, watching(broker.port) as hub:
        node.say(DISK_LOW)
        await until(lambda: hub.document(topic) is not None)
        assert "2 % of the disk are free" in hub.document(topic)["message"]
        assert hub.document(f"{ROOT}/cook")["alarms"] == 1
        node.say(DISK_FINE)
        node.say(AlertActed("disk-low/node", "acknowledge"))
        await until(lambda: hub.last(topic) == "")


async def test_an_alert_that_ended_while_the_node_was_off_is_deleted_at_its_start(
    tmp_path: Path, broker: Broker
) -> None:
    topic = f"{ROOT}/alert/pit-low/old-pit"
    async with watching(broker.port) as hub:
        await hub.client.publish(topic, "{}", qos=1, retain=True)
        await until(lambda: hub.last(topic) == "{}")
        async with PublishingNode(tmp_path, broker):
            await until(lambda: hub.last(topic) == "")


async def test_names_with_wildcards_make_no_forbidden_topic(tmp_path: Path, broker: Broker) -> None:
    async with PublishingNode(tmp_path, broker) as node, watching(broker.port) as hub:
        node.read("left+right#1", 20.0)
        await until(lambda: hub.document(f"{ROOT}/channel/left_right_1") is not None)


async def test_people_are_told_over_mqtt_where_it_is_a_way(tmp_path: Path, broker: Broker) -> None:
    way = '[[notify.way]]\nkind = "mqtt"\n'
    async with PublishingNode(tmp_path, broker, after=way) as node, watching(broker.port) as hub:
        await until(lambda: hub.last(f"{ROOT}/status") == "online")
        node.say(DISK_LOW)
        await until(lambda: "disk-low/node" in node.daemon.notifier.outbox.standing)
        node.pass_s(10)
        await until(lambda: hub.document(f"{ROOT}/notice") is not None)
        assert "disk-low/node" in hub.document(f"{ROOT}/notice")["alerts"]


# -- outages --------------------------------------------------------------------------------
