"""What rests on an entry goes with it, after a yes; until then nothing is written."""

from __future__ import annotations

from typing import Any

import pytest

from pitlogger.model.journal import Undone
from tests.web.conftest import Node
from tests.web.test_corrections import HOUR_MS, post

CHICKEN: dict[str, Any] = {"piece": {"id": "bird", "cut": "chicken-whole"}}


async def added(node: Node) -> dict[str, Any]:
    """Add a piece by mistake and say three things of it and one of another."""
    await node.begin()
    made = await post(node, "/pieces", **CHICKEN)
    await post(node, "/stages", piece="bird", stage="seasoned")
    await post(node, "/weighings", piece="bird", checkpoint="purchased", mass="4 lb")
    await post(node, "/temps", piece="bird", value="41F")
    await post(node, "/temps", piece="brisket-1", value="43F")
    return made


async def test_what_was_said_of_a_piece_goes_with_it_after_a_yes(node: Node) -> None:
    made = await added(node)
    before = node.daemon.engine.state.seq
    asked = await post(node, "/undo", 409, entry=made["id"])
    assert "3 entries rest on" in asked["question"]
    assert asked["options"] == ["take back 3 more"]
    assert node.daemon.engine.state.seq == before
    assert "bird" in node.daemon.engine.book.pieces
    await post(node, "/undo", entry=made["id"], confirm=asked["confirm"])
    book = node.daemon.engine.book
    assert list(book.pieces) == ["brisket-1"]
    assert [spot.piece for _, spot in book.spots] == ["brisket-1"]
    undone = [one for one in node.daemon.engine.state.entries if isinstance(one.body, Undone)]
    assert len(undone) == 4
    assert undone[-1].body.of_seq == made["seq"]  # type: ignore[union-attr]


async def test_a_piece_alone_is_taken_back_unasked(node: Node) -> None:
    await node.begin()
    made = await post(node, "/pieces", **CHICKEN)
    await post(node, "/undo", entry=made["id"])
    assert list(node.daemon.engine.book.pieces) == ["brisket-1"]


async def test_a_split_goes_with_what_was_said_of_its_children(node: Node) -> None:
    await node.begin()
    made = await post(node, "/pieces/brisket-1/split", into=[{"id": "point"}, {"id": "flat"}])
    await post(node, "/weighings", piece="point", checkpoint="rested", mass="2 lb")
    await post(node, "/temps", piece="flat", value="150F")
    asked = await post(node, "/undo", 409, entry=made["id"])
    await post(node, "/undo", entry=made["id"], confirm=asked["confirm"])
    book = node.daemon.engine.book
    assert list(book.pieces) == ["brisket-1"]
    assert book.pieces["brisket-1"].is_open


@pytest.mark.parametrize("how", ["undo", "correct"])
async def test_a_stage_that_cannot_follow_any_more_goes_too(node: Node, how: str) -> None:
    await node.begin()
    cooled = await post(node, "/stages", piece="brisket-1", stage="chilled")
    node.clock.advance(HOUR_MS)
    warmed = await post(node, "/stages", piece="brisket-1", stage="reheating")
    said = {"entry": cooled["id"]} | ({"stage": "seasoned"} if how == "correct" else {})
    path = "/undo" if how == "undo" else "/corrections"
    asked = await post(node, path, 409, **said)
    assert warmed["id"] in asked["question"]
    await post(node, path, **said, confirm=asked["confirm"])
    stages = [mark.stage.value for mark in node.daemon.engine.book.pieces["brisket-1"].marks]
    assert stages == ([] if how == "undo" else ["seasoned"])
