"""Commands by a real broker: done once, answered in words, or refused."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from pitlogger.testing.waiting import until
from tests.system.broker import NEEDS_BROKER, Broker, watching
from tests.system.publishing import (
    NOTE,
    ROOT,
    PublishingNode,
    ask,
    expiring,
)

pytestmark = NEEDS_BROKER


async def test_commands_are_off_by_default(tmp_path: Path, broker: Broker) -> None:
    async with PublishingNode(tmp_path, broker) as node, watching(broker.port) as hub:
        answer = await ask(hub, NOTE, properties=expiring(30))
        assert "commands are off" in answer["error"]
        assert node.daemon.engine.book.notes == []


async def test_a_fresh_command_is_done_once_however_often_it_comes(
    tmp_path: Path, broker: Broker
) -> None:
    async with (
        PublishingNode(tmp_path, broker, "commands = true") as node,
        watching(broker.port) as hub,
    ):
        node.start_cook()
        first = await ask(hub, NOTE, properties=expiring(30))
        again = await ask(hub, NOTE, properties=expiring(30))
        assert first["done"]
        assert first["id"] == again["id"]
        assert len(node.daemon.engine.book.notes) == 1


async def test_a_retained_command_is_refused_and_deleted(tmp_path: Path, broker: Broker) -> None:
    async with watching(broker.port) as hub:
        text = json.dumps(NOTE)
        await hub.client.publish(f"{ROOT}/command", text, qos=1, retain=True)
        async with PublishingNode(tmp_path, broker, "commands = true") as node:
            await until(lambda: bool(hub.documents(f"{ROOT}/answer")))
            assert "retained" in hub.documents(f"{ROOT}/answer")[-1]["error"]
            assert node.daemon.engine.book.notes == []
            await until(lambda: hub.last(f"{ROOT}/command") == "")


async def test_a_command_retained_while_we_listen_is_refused_too(
    tmp_path: Path, broker: Broker
) -> None:
    async with (
        PublishingNode(tmp_path, broker, "commands = true") as node,
        watching(broker.port) as hub,
    ):
        node.start_cook()
        await ask(hub, {**NOTE, "key": "fresh"}, properties=expiring(30))
        text = json.dumps({**NOTE, "key": "kept"})
        await hub.client.publish(
            f"{ROOT}/command", text, qos=1, retain=True, properties=expiring(30)
        )
        await until(lambda: hub.documents(f"{ROOT}/answer")[-1]["key"] == "kept")
        assert "retained" in hub.documents(f"{ROOT}/answer")[-1]["error"]
        assert len(node.daemon.engine.book.notes) == 1


@pytest.mark.parametrize(
    ("document", "expiry_s", "words"),
    [
        (NOTE, None, "needs an expiry"),
        (NOTE, 3600, "needs an expiry"),
        ({**NOTE, "at": "2026-09-21T14:12:00Z"}, None, "at most 30 s"),
        ({**NOTE, "key": ""}, 30, "'key'"),
        ({**NOTE, "do": "notee"}, 30, "did you mean 'note'"),
        ({"key": "k2", "do": "stage", "piece": "brisket-1", "stage": "resti"}, 30, "'resting'"),
        ({"key": "k3", "do": "acknowledge", "alert": "pit-low/x"}, 30, "alert"),
    ],
)
async def test_a_command_that_cannot_be_done_is_answered_in_words(
    tmp_path: Path, broker: Broker, document: dict[str, Any], expiry_s: int | None, words: str
) -> None:
    async with (
        PublishingNode(tmp_path, broker, "commands = true") as node,
        watching(broker.port) as hub,
    ):
        node.start_cook()
        properties = None if expiry_s is None else expiring(expiry_s)
        answer = await ask(hub, document, properties=properties)
        assert not answer["done"]
        assert words in answer["error"]


async def test_what_must_be_asked_is_told_on_the_topic_and_done_with_the_answer(
    tmp_path: Path, broker: Broker
) -> None:
    async with (
        PublishingNode(tmp_path, broker, "commands = true") as node,
        watching(broker.port) as hub,
    ):
        node.start_cook()
        stage = {"do": "stage", "piece": "brisket-1", "by": "AB"}
        await ask(hub, {**stage, "key": "s1", "stage": "smoking"}, properties=expiring(30))
        off = {**stage, "key": "s2", "stage": "resting"}
        asked = await ask(hub, off, properties=expiring(30))
        assert not asked["done"]
        assert "nothing was done: brisket-1 was on the pit for" in asked["error"]
        assert asked["confirm"] in asked["options"]
        assert node.daemon.engine.book.pieces["brisket-1"].stage == "smoking"
        answer = {**off, "confirm": asked["confirm"]}
        assert (await ask(hub, answer, properties=expiring(30)))["done"]
        assert node.daemon.engine.book.pieces["brisket-1"].stage == "resting"


async def test_a_command_with_its_own_time_needs_no_expiry(tmp_path: Path, broker: Broker) -> None:
    async with (
        PublishingNode(tmp_path, broker, "commands = true") as node,
        watching(broker.port) as hub,
    ):
        node.start_cook()
        answer = await ask(hub, {**NOTE, "at": "2026-09-21T14:13:25Z"})
        assert answer["done"]


# -- hubs -----------------------------------------------------------------------------------
