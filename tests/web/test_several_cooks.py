"""Two cooks at once over the API: asked about, kept apart, finished by name, there after a kill."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pitlogger.bootstrap.engines import replay_files

from .conftest import Node, make_node

COOK = """
[cook]
name = "{name}"
[[piece]]
id = "{piece}"
cut = "brisket-packer"
mass = "13 lb"
[[channel]]
id = "pit"
site = "pit"
low = "{low}"
high = "275F"
"""


def text(name: str, piece: str, low: str = "225F") -> str:
    return COOK.format(name=name, piece=piece, low=low)


async def post(node: Node, path: str, status: int = 200, **body: Any) -> dict[str, Any]:
    answer = await node.local.post(f"/api/v1{path}", json=body)
    assert answer.status_code == status, answer.text
    found: dict[str, Any] = answer.json()
    return found


async def two(node: Node) -> None:
    await post(node, "/cooks", toml=text("wedding", "brisket-1"))
    await post(node, "/cooks", toml=text("market", "brisket-2"), confirm="begin it beside")


async def names(node: Node) -> list[str]:
    found = (await node.local.get("/api/v1/status")).json()["cooks"]
    return [cook["name"] for cook in found]


async def test_a_second_cook_is_asked_about_and_begins_beside_the_first(node: Node) -> None:
    await post(node, "/cooks", toml=text("wedding", "brisket-1"))
    asked = await post(node, "/cooks", 409, toml=text("market", "brisket-2"))
    assert asked["confirm"] == "begin it beside"
    assert await names(node) == ["wedding"]
    await post(node, "/cooks", toml=text("market", "brisket-2"), confirm=asked["confirm"])
    assert await names(node) == ["wedding", "market"]
    said = (await node.local.get("/api/v1/status")).json()["sentence"]
    assert "wedding: " in said
    assert "market: " in said


async def test_the_same_cook_started_twice_is_refused_not_asked(node: Node) -> None:
    await post(node, "/cooks", toml=text("wedding", "brisket-1"))
    told = await post(node, "/cooks", 409, toml=text("wedding", "brisket-1"))
    assert "still running" in told["error"]
    assert "question" not in told
    told = await post(node, "/cooks", 400, toml=text("market", "brisket-1"))
    assert "'brisket-1' in 'wedding'" in told["error"]


async def test_another_band_for_a_shared_pit_is_asked(node: Node) -> None:
    await post(node, "/cooks", toml=text("wedding", "brisket-1"))
    asked = await post(
        node, "/cooks", 409, toml=text("market", "brisket-2", "250F"), confirm="begin it beside"
    )
    assert len(asked["options"]) == 2
    kept = asked["options"][0]
    await post(
        node, "/cooks", toml=text("market", "brisket-2", "250F"), confirm=f"begin it beside; {kept}"
    )
    assignment = node.daemon.engine.book.assignment("pit")
    assert assignment is not None
    assert assignment.channel.low_mc is not None
    assert round(assignment.channel.low_mc / 1000) == 107


async def test_which_cook_is_over_is_asked_and_the_other_goes_on(node: Node) -> None:
    await two(node)
    asked = await post(node, "/cooks/finish", 409)
    assert asked["options"] == ["wedding", "market"]
    await post(node, "/cooks/finish", cook="wedding")
    assert await names(node) == ["market"]
    told = await post(node, "/stages", 400, piece="brisket-1", stage="smoking")
    assert "brisket-2" in told["error"]
    told = await post(node, "/cooks/finish", 400, cook="wedding")
    assert "market" in told["error"]
    await post(node, "/cooks/finish")
    assert await names(node) == []


async def test_a_piece_joins_the_cook_that_is_named(node: Node) -> None:
    await two(node)
    piece = {"id": "butt-1", "cut": "pork-butt"}
    asked = await post(node, "/pieces", 409, piece=piece)
    assert asked["options"] == ["wedding", "market"]
    await post(node, "/pieces", piece=piece, cook="wedding")
    pieces = (await node.local.get("/api/v1/status")).json()["pieces"]
    cooks = {one["piece"]: one["cook"] for one in pieces}
    assert cooks["butt-1"] == cooks["brisket-1"] != cooks["brisket-2"]


async def test_each_cook_has_its_own_record(node: Node) -> None:
    await two(node)
    await post(node, "/stages", piece="brisket-1", stage="smoking")
    await post(node, "/stages", piece="brisket-2", stage="smoking")
    await post(node, "/notes", text="rain")
    await post(node, "/notes", text="more salt", cook="market")
    await node.daemon.flushed()
    cooks = {row["name"]: row["cook"] for row in (await node.local.get("/api/v1/cooks")).json()}
    own = {}
    for name, cook in cooks.items():
        rows = (await node.local.get("/api/v1/journal", params={"cook": cook})).json()
        own[name] = (
            {row.get("piece") for row in rows if row["kind"] == "stage-set"},
            [row["text"] for row in rows if row["kind"] == "noted"],
        )
    assert own == {
        "wedding": ({"brisket-1"}, ["rain"]),
        "market": ({"brisket-2"}, ["rain", "more salt"]),
    }


async def test_the_last_of_one_cook_is_taken_back(node: Node) -> None:
    await two(node)
    await post(node, "/stages", piece="brisket-1", stage="smoking")
    await post(node, "/stages", piece="brisket-2", stage="smoking")
    await post(node, "/undo", cook="wedding")
    pieces = (await node.local.get("/api/v1/status")).json()["pieces"]
    assert {one["piece"]: one["stage"] for one in pieces} == {
        "brisket-1": "raw",
        "brisket-2": "smoking",
    }


async def test_both_are_there_after_a_restart_and_each_is_finished_alone(tmp_path: Path) -> None:
    async with make_node(tmp_path) as node:
        await two(node)
        await post(node, "/stages", piece="brisket-1", stage="smoking")
        before = node.daemon.engine.book
    async with make_node(tmp_path) as node:
        assert await names(node) == ["wedding", "market"]
        assert node.daemon.engine.book == before
        await post(node, "/cooks/finish", cook="market")
    async with make_node(tmp_path) as node:
        assert await names(node) == ["wedding"]
        await post(node, "/stages", piece="brisket-1", stage="wrapped")


async def test_each_exports_a_capture_that_replays_alone(tmp_path: Path) -> None:
    async with make_node(tmp_path) as node:
        await two(node)
        await post(node, "/stages", piece="brisket-1", stage="smoking")
        await post(node, "/stages", piece="brisket-2", stage="smoking")
        await node.daemon.flushed()
        for name, piece in (("wedding", "brisket-1"), ("market", "brisket-2")):
            lines = await node.local.get("/api/v1/export", params={"cook": name})
            capture = tmp_path / f"{name}.senml"
            capture.write_text(lines.text, encoding="utf-8")
            _, engine = replay_files(capture, forecasts=False)
            assert list(engine.book.pieces) == [piece]
            assert engine.book.pieces[piece].stage == "smoking"
