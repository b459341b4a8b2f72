"""A decision is entered once, whoever asks again and when; a disk that refuses is told of."""

from __future__ import annotations

import asyncio
import random
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import click
import pytest

from pitlogger.cli.output import emit
from pitlogger.node import decisions
from pitlogger.store import Reader
from pitlogger.testing.waiting import until
from tests.web.conftest import Node, make_node

NOTES = "/api/v1/notes"


async def test_the_same_key_at_the_same_time_is_one_entry(node: Node) -> None:
    await node.begin()
    body = {"text": "bark is soft", "key": "k1"}
    answers = await asyncio.gather(*(node.local.post(NOTES, json=body) for _ in range(120)))
    assert {answer.status_code for answer in answers} == {200}
    assert len({answer.json()["seq"] for answer in answers}) == 1


@pytest.mark.parametrize("seed", range(4))
async def test_after_any_kill_each_request_is_answered_with_its_first_entry(
    tmp_path: Path, seed: int
) -> None:
    chance = random.Random(seed)
    first: dict[str, Any] = {}
    folder = tmp_path / "0"
    for life in range(4):
        async with make_node(folder) as node:
            if life == 0:
                await node.begin()
            for _ in range(chance.randrange(4)):
                key = f"{life}-{len(first)}"
                answer = await node.local.post(NOTES, json={"text": key, "key": key})
                first[key] = answer.json()
                if chance.random() < 0.3:
                    node.daemon.keeping.save_all()
                node.clock.advance(chance.randrange(100_000))
            for key in chance.sample(sorted(first), len(first)):
                answer = await node.local.post(NOTES, json={"text": "again", "key": key})
                assert answer.status_code == 200
                assert answer.json() == first[key]
            following = tmp_path / str(life + 1)
            shutil.copytree(folder, following, ignore=shutil.ignore_patterns("*.sock"))
        folder = following  # as a kill at that moment would have left it
    with Reader.open(folder / "pitlogger.db") as reader:
        texts = [text for _, text in reader.entry_texts(["noted"])]
    assert len(texts) == len(first)
    assert not any("again" in text for text in texts)


async def test_a_disk_that_refuses_is_told_of_in_two_seconds_and_nothing_doubled(
    node: Node, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(decisions, "READ_S", 0.2)
    await node.begin()
    database = node.daemon.config.database
    with closing(sqlite3.connect(database, isolation_level=None)) as holds:
        holds.execute("BEGIN IMMEDIATE")
        asked_s = asyncio.get_running_loop().time()
        answer = await node.local.post(NOTES, json={"text": "14 C outside"})
        assert asyncio.get_running_loop().time() - asked_s < 3
        assert (answer.status_code, answer.json()["durable"]) == (202, False)
        keyed = {"text": "with a key", "key": "k"}
        waiting = await node.local.post(NOTES, json=keyed)
        again = await node.local.post(NOTES, json={"text": "14 C outside"})
        assert again.json() == answer.json()
        assert (await node.local.post(NOTES, json=keyed)).json() == waiting.json()
        holds.execute("ROLLBACK")
    await until(lambda: node.daemon.journalling.is_settled, patience_s=30)
    durable = await node.local.post(NOTES, json=keyed)
    assert durable.status_code == 200
    assert durable.json()["seq"] == waiting.json()["seq"]
    another = await node.local.post(NOTES, json={"text": "14 C outside"})
    assert another.json()["seq"] > waiting.json()["seq"]  # it was said anew


def test_a_command_says_that_the_disk_has_not_taken_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with click.Context(click.Command("weigh")), pytest.raises(click.exceptions.Exit) as left:
        emit({"seq": 5, "durable": False}, as_json=False, text="13 lb kept (entry 5)")
    assert left.value.exit_code == 4
    assert "not yet on disk" in capsys.readouterr().err


async def test_a_decision_is_answered_with_its_own_entry_whatever_fell_due_before(
    node: Node,
) -> None:
    await node.begin()
    await node.local.post("/api/v1/stages", json={"piece": "brisket-1", "stage": "chilled"})
    node.clock.advance(3_600_000)  # a prompt to mark its date falls due with the next input
    answer = await node.local.post(
        "/api/v1/stages", json={"piece": "brisket-1", "stage": "reheating", "key": "once"}
    )
    assert answer.json()["kind"] == "stage-set"
    again = await node.local.post(
        "/api/v1/stages", json={"piece": "brisket-1", "stage": "reheating", "key": "once"}
    )
    assert again.json()["id"] == answer.json()["id"]
