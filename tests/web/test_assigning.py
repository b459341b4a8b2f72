"""A probe that is put elsewhere keeps what is the probe's; a pit keeps its band unless told."""

from __future__ import annotations

from pitlogger.model.readings import Site
from tests.web.conftest import Node

PIT = ("set_point_mc", "low_mc", "high_mc")


async def _assign(node: Node, **fields: str) -> None:
    form = {f"channel.{name}": text for name, text in fields.items()}
    headers = {"Accept": "application/json"}
    answer = await node.local.post("/do/assign", data=form, headers=headers)
    assert answer.status_code == 200, answer.text


def _now(node: Node, channel: str, *names: str) -> list[object]:
    held = node.daemon.engine.book.assignment(channel)
    assert held is not None
    return [getattr(held.channel, name) for name in names]


async def test_a_pit_assigned_again_keeps_its_band_and_takes_what_is_typed(node: Node) -> None:
    await node.begin()
    await _assign(node, id="pit", site="pit", set_point="250", low="225", high="275")
    band = _now(node, "pit", *PIT)
    await _assign(node, id="pit", site="pit")
    assert _now(node, "pit", *PIT) == band
    await _assign(node, id="pit", site="pit", set_point="262,5")
    assert _now(node, "pit", *PIT) == [128_056, *band[1:]]
    lane = node.daemon.engine.lanes["pit"]
    assert lane.limits, "a dying fire still wakes somebody"


async def test_a_probe_takes_its_offset_along_and_leaves_the_band_behind(node: Node) -> None:
    await node.begin()
    await _assign(node, id="pit", site="pit", low="225", offset="-1.5 C", stale_after="40s")
    await _assign(node, id="pit", site="room")
    kept = _now(node, "pit", "site", *PIT, "offset", "stale_after_ms")
    assert kept == [Site.ROOM, None, None, None, -1500, 40_000]


async def test_a_lead_core_assigned_again_still_leads(node: Node) -> None:
    await node.begin()
    core = next(c for c, lane in node.daemon.engine.lanes.items() if lane.site is Site.CORE)
    held = node.daemon.engine.book.assignment(core)
    assert held is not None
    piece = held.channel.piece or ""
    table = {"channel.id": core, "channel.site": "core", "channel.piece": piece, "lead": "true"}
    await node.local.post("/do/assign", data=table, headers={"Accept": "application/json"})
    await _assign(node, id=core, site="core", piece=piece)
    led = node.daemon.engine.book.assignment(core)
    assert led is not None
    assert led.lead
