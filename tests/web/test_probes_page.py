"""The page of probes without a place: where each seems to be, that in meat first."""

from __future__ import annotations

import re
from pathlib import Path

from pitlogger.devices.contract import Measurement
from pitlogger.model.quantities import Quantity
from tests.web.conftest import Node, make_node

COOK = '[cook]\nname = "x"\n[[piece]]\nid = "butt-1"\ncut = "pork-butt"\n'
BOARD = '[[device]]\nid = "board"\ndriver = "csv-line"\nport = "/none"\nmap = "a:Cel,b:Cel"\n'


async def test_the_probe_in_meat_is_offered_before_the_one_in_a_cup(tmp_path: Path) -> None:
    async with make_node(tmp_path, BOARD) as node:
        (await node.local.post("/api/v1/cooks", json={"toml": COOK})).raise_for_status()
        for step in range(48):
            node.clock.advance(10_000)
            for name, value in (("a", 80.0 - 0.1 * step), ("b", 4.0 + 0.005 * step)):
                one = Measurement(name, Quantity.TEMPERATURE, value, "Cel")
                node.daemon.intake.measured("board", one)
        page = (await node.local.get("/probes")).text
        assert "Reads like meat." in page
        assert "Hot and cooling: in no raw meat." in page
        assert page.index("board/b") < page.index("board/a")


TWO = """
[cook]
name = "x"
[[piece]]
id = "butt-1"
cut = "pork-butt"
[[piece]]
id = "butt-2"
cut = "pork-butt"
[[channel]]
id = "board/a"
site = "core"
piece = "butt-1"
[[channel]]
id = "board/b"
site = "core"
piece = "butt-2"
"""


async def test_two_probes_that_changed_places_are_repaired_by_one_tap(tmp_path: Path) -> None:
    async with make_node(tmp_path, BOARD) as node:
        (await node.local.post("/api/v1/cooks", json={"toml": TWO})).raise_for_status()
        for piece in ("butt-1", "butt-2"):
            said = {"piece": piece, "stage": "smoking"}
            (await node.local.post("/api/v1/stages", json=said)).raise_for_status()
        for step in range(180):
            node.clock.advance(10_000)
            for name, low_c in (("a", 70.0), ("b", 40.0)):
                value = 110.0 - low_c if step >= 90 else low_c
                one = Measurement(name, Quantity.TEMPERATURE, value, "Cel")
                node.daemon.intake.measured("board", one)
            node.daemon.tick(node.clock.engine_ms())
        assert pieces_at(node, node.clock.engine_ms()) == ["butt-1", "butt-2"]
        (shown,) = [part for part in (await node.local.get("/probes")).text.split("<form")
                    if "changed places" in part]  # fmt: skip
        form = dict(re.findall(r'name="([^"]+)" value="([^"]+)"', shown))
        given = await node.network.post("/do/assign", data=form, headers=node.cookie())
        assert given.status_code == 303
        now_ms = node.clock.engine_ms()
        assert pieces_at(node, now_ms) == ["butt-2", "butt-1"]
        assert pieces_at(node, now_ms - 1_200_000) == ["butt-1", "butt-2"]


def pieces_at(node: Node, t_ms: int) -> list[str | None]:
    found = [node.daemon.engine.book.assignment(f"board/{one}", t_ms) for one in "ab"]
    return [one.channel.piece for one in found if one is not None]
