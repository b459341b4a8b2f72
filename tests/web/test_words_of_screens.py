"""What screens say has no ids of the program and no words of statistics."""

from __future__ import annotations

import re

from pitlogger.model.journal import Weighed
from tests.web.conftest import Node

STATISTICS = re.compile(r"\b(?:sd|variance|n = \d+|prior|probability|quantile|median)\b")
OPTIONS = re.compile(r"<option[^>]*>([^<]*)")
KEPT = ("purchased", "trimmed", "at-wrap", "rested", "carved")


async def _screen(node: Node, path: str) -> str:
    answer = await node.local.get(path, headers={"Accept": "text/html"})
    assert answer.status_code == 200, answer.text
    return answer.text


async def test_a_plan_speaks_without_statistics(node: Node) -> None:
    text = await _screen(node, "/plan?guests=45&portion=5oz&cut=brisket-packer")
    assert STATISTICS.findall(text) == []
    assert "two of three guests eat within 1.6 oz of a portion" in text
    assert "two of three lie within" in text


async def test_a_past_cook_names_cuts_weighings_and_causes_in_words(node: Node) -> None:
    await node.begin()
    for number, checkpoint in enumerate(KEPT):
        mass_mg = (6000 - 600 * number) * 1000
        await node.daemon.submit(
            Weighed("brisket-1", checkpoint, mass_mg, 0, node.clock.engine_ms()), "AK"
        )
        node.clock.advance(3_600_000)
    await node.daemon.flushed()
    text = await _screen(node, f"/cooks/{node.daemon.cook}")
    options = [one.strip() for one in OPTIONS.findall(text)]
    assert "whole brisket" in options
    assert "at the wrap" in options
    assert not [one for one in options if one in ("brisket-packer", "at-wrap", "on-pit")]
    assert "wrapped and rest" in text
    assert "wrapped+rest" not in text
