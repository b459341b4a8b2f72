"""The page of probes without a place: where each seems to be, that in meat first."""

from __future__ import annotations

from pathlib import Path

from pitlogger.devices.contract import Measurement
from pitlogger.model.quantities import Quantity
from tests.web.conftest import make_node

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
