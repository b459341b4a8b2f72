"""What people and cats do to a node that keeps weights and stages by itself: no false entry.

Two tags at once, an unknown code, a piece weighed out of order, a cat on the scale, a tray
swapped, a probe in a cup of coffee: a question or nothing.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from pitlogger.devices.contract import Measurement
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Reading
from tests.web.conftest import Node, make_node

TAKEN = """
[policy]
stage_from = "taken"
[[device]]
id = "scale"
driver = "serial-scale"
port = "/none"
[[device.channel]]
id = "bench-scale"
name = "mass"
site = "bench"
[[device]]
id = "tags"
driver = "line-scanner"
port = "/none"
"""
COOK = """
[cook]
name = "supper"
[[piece]]
id = "brisket-1"
cut = "brisket-packer"
mass = "5.9 kg"
wrap = "paper"
pit = "pit"
[[piece]]
id = "brisket-2"
cut = "brisket-packer"
mass = "6.6 kg"
wrap = "paper"
pit = "pit"
[[channel]]
id = "pit"
site = "pit"
[[channel]]
id = "brisket-1/core"
site = "core"
piece = "brisket-1"
"""


class Bench:
    """A node, its scale and its scanner."""

    def __init__(self, node: Node) -> None:
        self.node = node

    async def begin(self) -> None:
        answer = await self.node.local.post("/api/v1/cooks", json={"toml": COOK})
        answer.raise_for_status()

    def lie(self, kilograms: float, seconds: float = 8) -> None:
        for _ in range(round(seconds * 4)):
            self.node.clock.advance(250)
            one = Measurement("mass", Quantity.MASS, kilograms, "kg")
            self.node.daemon.intake.measured("scale", one)
            self.node.daemon.tick(self.node.clock.engine_ms())

    def scan(self, text: str) -> None:
        one = Measurement("code", Quantity.CODE, None, "", text=text)
        self.node.daemon.intake.measured("tags", one)
        self.wait(1)

    def wait(self, minutes: float) -> None:
        for _ in range(round(minutes * 4)):
            self.node.clock.advance(15_000)
            self.node.daemon.tick(self.node.clock.engine_ms())

    def kept(self) -> list[tuple[str, str, int]]:
        return [
            (piece, one.weighed.checkpoint, one.weighed.net_mg // 1000)
            for piece, held in self.node.daemon.engine.book.pieces.items()
            for one in held.weighings
        ]

    def stages(self) -> list[str]:
        pieces = self.node.daemon.engine.book.pieces.values()
        return [mark.stage.value for held in pieces for mark in held.marks]


@pytest.mark.parametrize("cat_kg", [0.9, 2.9, 3.7, 4.4, 7.9])
async def test_a_cat_on_the_scale_is_no_piece(tmp_path: Path, cat_kg: float) -> None:
    async with make_node(tmp_path, TAKEN) as node:
        bench = Bench(node)
        await bench.begin()
        for kilograms in (5.88, 0.0, 6.59, 0.0):
            bench.lie(kilograms)
        bench.wait(6)
        before = bench.kept()
        bench.lie(cat_kg, 40)
        bench.lie(cat_kg + 0.012, 10)  # it breathes, and sits down
        bench.lie(0.0)
        bench.wait(10)
        assert bench.kept() == before


async def test_a_tray_swapped_for_another_hides_in_no_weight(tmp_path: Path) -> None:
    async with make_node(tmp_path, TAKEN) as node:
        bench = Bench(node)
        await bench.begin()
        bench.lie(0.85)
        tared = await node.local.post("/api/v1/tares", json={"channel": "bench-scale"})
        tared.raise_for_status()
        bench.lie(0.0)
        bench.lie(1.30 + 5.88)  # the other tray, 450 g heavier
        bench.lie(0.0)
        bench.wait(10)
        assert bench.kept() == []


async def test_a_piece_weighed_out_of_order_enters_nothing(tmp_path: Path) -> None:
    async with make_node(tmp_path, TAKEN) as node:
        bench = Bench(node)
        await bench.begin()
        bench.lie(3.31)  # what would be a carved brisket, while it is raw
        bench.lie(0.0)
        bench.wait(10)
        assert bench.kept() == []


@pytest.mark.parametrize("codes", [("PLP::brisket-1", "PLP::brisket-2"), ("4006381333931",),
                                   ("PLP::brisket-9",), ("PLT:nowhere",)])  # fmt: skip
async def test_two_tags_or_an_unknown_code_enter_nothing(
    tmp_path: Path, codes: tuple[str, ...]
) -> None:
    async with make_node(tmp_path, TAKEN) as node:
        bench = Bench(node)
        await bench.begin()
        for code in codes:
            bench.scan(code)
        bench.lie(4.65)  # fits neither for sure
        bench.lie(0.0)
        bench.wait(1)
        assert [one for one in bench.kept() if one[1] != "trimmed"] == []
        assert len(bench.kept()) == 0


async def test_a_probe_in_a_cup_of_coffee_is_no_rest(tmp_path: Path) -> None:
    async with make_node(tmp_path, TAKEN) as node:
        bench = Bench(node)
        await bench.begin()
        core_c, cup_c = 4.0, 84.0
        for minute in range(16 * 60):
            if minute > 30:
                core_c += (118.0 - core_c) / 400
            in_cup = minute > 13 * 60
            cup_c -= (cup_c - 21.0) / 45 if in_cup else 0.0
            for _ in range(4):
                node.clock.advance(15_000)
                now_ms, read_c = node.clock.engine_ms(), cup_c if in_cup else core_c
                node.daemon.feed(Reading("pit", now_ms, 118_000))
                node.daemon.feed(Reading("brisket-1/core", now_ms, round(read_c * 1000)))
                node.daemon.tick(now_ms)
        assert "resting" not in bench.stages()
        assert "holding" not in bench.stages()
