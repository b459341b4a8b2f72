"""A stage marked a second time changes nothing, so it is never acknowledged as if it had."""

from __future__ import annotations

import pytest

from pitlogger.clock import rfc3339
from tests.web.conftest import Node
from tests.web.test_corrections import HOUR_MS, post


async def on_the_pit(node: Node, hours: float = 3.0) -> int:
    """Put a brisket on the pit and let hours go by; return when it went on."""
    await node.begin()
    await post(node, "/stages", piece="brisket-1", stage="smoking")
    on_ms = node.clock.engine_ms()
    node.clock.advance(round(hours * HOUR_MS))
    return on_ms


async def test_the_same_stage_at_another_time_points_to_its_entry(node: Node) -> None:
    on_ms = await on_the_pit(node)
    before = node.daemon.engine.state.seq
    for at in ({}, {"at": rfc3339(on_ms + HOUR_MS)}):
        refused = await post(node, "/stages", 409, piece="brisket-1", stage="smoking", **at)
        assert "brisket-1 is on the pit already" in refused["error"]
        assert "correct that entry" in refused["error"]
    assert node.daemon.engine.state.seq == before


async def test_a_second_tap_an_earlier_time_and_another_wrap_are_taken(node: Node) -> None:
    on_ms = await on_the_pit(node, hours=0.01)
    await post(node, "/stages", piece="brisket-1", stage="smoking")
    await post(node, "/stages", piece="brisket-1", stage="smoking", at=rfc3339(on_ms - HOUR_MS))
    held = node.daemon.engine.book.pieces["brisket-1"]
    assert held.spans()[-1].from_ms == on_ms - HOUR_MS
    node.clock.advance(6 * HOUR_MS)
    await post(node, "/stages", piece="brisket-1", stage="wrapped", wrap="paper")
    node.clock.advance(HOUR_MS)
    await post(node, "/stages", piece="brisket-1", stage="wrapped", wrap="foil")
    assert node.daemon.engine.book.pieces["brisket-1"].wrap == "foil"
    node.clock.advance(HOUR_MS)
    await post(node, "/stages", 409, piece="brisket-1", stage="wrapped")


@pytest.mark.parametrize("between", ["resting", "wrapped"])
async def test_back_on_the_pit_is_no_repeat(node: Node, between: str) -> None:
    await on_the_pit(node)
    await post(node, "/stages", piece="brisket-1", stage=between)
    node.clock.advance(HOUR_MS)
    await post(node, "/stages", piece="brisket-1", stage="smoking")
    assert node.daemon.engine.book.pieces["brisket-1"].spans()[-1].stage == "smoking"
