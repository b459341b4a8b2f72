"""Which field of a form a refusal is of, and its words: short, and not turned around."""

from __future__ import annotations

from typing import Any

import pytest

from pitlogger.model.journal import SpotRead
from tests.web.conftest import Node

JSON = {"Accept": "application/json"}


async def _do(node: Node, what: str, **fields: str) -> dict[str, Any]:
    answer = await node.local.post(f"/do/{what}", data={"key": "k1", **fields}, headers=JSON)
    assert answer.status_code < 500
    made: dict[str, Any] = answer.json()
    return made


@pytest.mark.parametrize(("fields", "field", "told"), [
    ({"piece": "gone-1", "value": "150"}, "piece", "Unknown piece 'gone-1'; known: brisket-1"),
    ({"value": "150"}, "piece", "A hand reading is of one piece or one site"),
    ({"piece": "brisket-1", "value": "9" * 20}, "value", "the most that any probe reads"),
    ({"piece": "brisket-1"}, "value", "Nothing stands here."),
    ({"piece": "brisket-1", "value": "x" * 300}, "value", f"'{'x' * 40}…' is not a temperature."),
    ({"piece": "brisket-1", "value": "150", "ago_min": "20000"}, "ago_min",
     "'20000' is no number of minutes from 0 to 10080, which is a week."),
])  # fmt: skip
async def test_a_refusal_names_its_field_and_is_short(
    node: Node, fields: dict[str, str], field: str, told: str
) -> None:
    await node.begin()
    said = await _do(node, "temp", **fields)
    assert said["field"] == field
    assert told in said["error"]
    assert len(said["error"]) < 200


async def test_no_mass_is_more_than_a_hundred_tonnes(node: Node) -> None:
    await node.begin()
    said = await _do(node, "container", name="tray", mass="9" * 20)
    assert (said["field"], "more than 100 t" in said["error"]) == ("mass", True)
    said = await _do(node, "weigh", piece="brisket-1", checkpoint="trimmed", mass="9" * 20)
    assert (said["field"], "more than 100 t" in said["error"]) == ("mass", True)


async def test_minutes_may_have_a_decimal_comma_and_zero_has_no_sign(node: Node) -> None:
    await node.begin()
    node.clock.advance(60_000)
    said = await _do(node, "temp", piece="brisket-1", value="0", ago_min="0,5")
    assert said["said"] == "brisket-1: 0.0 F by hand."


async def test_no_name_turns_the_words_around_it(node: Node) -> None:
    await node.begin()
    await _do(node, "temp", piece="brisket-1", value="150", probe="\u202ehand\u2066 نیم‌تنه 👩🏽‍🍳")
    (read,) = [e.body for e in node.daemon.engine.state.entries if isinstance(e.body, SpotRead)]
    assert read.probe == "hand نیم‌تنه 👩🏽‍🍳"


async def test_a_question_names_the_cut_by_its_words(node: Node) -> None:
    await node.begin()
    said = await _do(node, "weigh", piece="brisket-1", checkpoint="purchased", mass="131")
    assert "times what a whole brisket weighs" in said["question"]


BANDS = [
    ({"low": "300 F", "high": "200 F"}, "channel.low", "The lowest does not lie below"),
    ({"low": "230 F", "set_point": "210 F"}, "channel.set_point", "does not lie between"),
    ({"low": "240 F", "set_point": "250 F", "high": "245 F"}, "channel.set_point", "between"),
    ({"low": "295 F"}, "channel.low", "295 F"),
    ({"high": "100 F"}, "channel.high", "100 F"),
]


@pytest.mark.parametrize(("band", "field", "told"), BANDS)
async def test_a_band_that_is_upside_down_is_told_at_its_field(
    node: Node, band: dict[str, str], field: str, told: str
) -> None:
    await node.begin()
    fields = {"channel.id": "pit", "channel.site": "pit"}
    said = await _do(node, "assign", **fields, **{f"channel.{k}": v for k, v in band.items()})
    assert (said["field"], told in said["error"]) == (field, True), said
