"""Answers about weights, as a phone gives them."""

from __future__ import annotations

from pathlib import Path

import pytest

from pitlogger.devices.contract import Measurement
from pitlogger.engine.watch.weights import ASK_AFTER_MS
from pitlogger.model.quantities import Quantity
from tests.web.conftest import Node, make_node

LIKELY = "weight-likely/bench-scale"
SCALE = (
    '[[device]]\nid = "scale"\ndriver = "serial-scale"\nport = "/none"\n'
    '[[device.channel]]\nid = "bench-scale"\nname = "mass"\nsite = "bench"\n'
)


async def asked(node: Node, kilograms: float = 6.0) -> None:
    """Let something lie on the scale until it is asked about."""
    await node.begin()
    for _ in range(20):
        node.clock.advance(250)
        node.daemon.intake.measured("scale", Measurement("mass", Quantity.MASS, kilograms, "kg"))
    node.clock.advance(ASK_AFTER_MS + 5000)
    node.daemon.tick(node.clock.engine_ms())


async def answer(node: Node, what: str) -> tuple[int, dict[str, object]]:
    body = {"reason": what, "by": "AK"}
    given = await node.local.post(f"/api/v1/alerts/{LIKELY}/answer", json=body)
    return given.status_code, given.json()


async def test_first_keeps_the_weight_as_confirmed(tmp_path: Path) -> None:
    async with make_node(tmp_path, SCALE) as node:
        await asked(node)
        assert (await answer(node, "first"))[0] == 200
        (one,) = node.daemon.engine.book.pieces["brisket-1"].weighings
        assert (one.weighed.checkpoint, one.weighed.net_mg, one.by) == (
            "purchased",
            6_000_000,
            "AK",
        )
        assert one.weighed.confirmed
        assert one.weighed.source == "scale"


async def test_all_keeps_the_weight_as_confirmed(tmp_path: Path) -> None:
    async with make_node(tmp_path, SCALE) as node:
        await asked(node)
        assert (await answer(node, "all"))[0] == 200
        node.clock.advance(2000)
        node.daemon.tick(node.clock.engine_ms())
        (one,) = node.daemon.engine.book.pieces["brisket-1"].weighings
        assert one.weighed.confirmed


@pytest.mark.parametrize("what", ["neither", "brisket-7"])
async def test_any_other_answer_keeps_nothing(tmp_path: Path, what: str) -> None:
    async with make_node(tmp_path, SCALE) as node:
        await asked(node)
        status, said = await answer(node, what)
        assert node.daemon.engine.book.pieces["brisket-1"].weighings == []
        if what == "brisket-7":
            assert status == 400
            assert "all, first, second, neither" in str(said)


async def test_the_question_is_asked_where_no_answer_is_given(tmp_path: Path) -> None:
    async with make_node(tmp_path, SCALE) as node:
        await asked(node)
        status, said = await answer(node, "")
        assert status == 409
        assert said["options"] == ["all", "first", "second", "neither"]
        assert "brisket-1 purchased" in str(said["question"])
