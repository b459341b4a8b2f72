"""Tags beside a node: printed, read through a real port, and what they name."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from pitlogger.devices.contract import Measurement
from pitlogger.model.quantities import Quantity
from pitlogger.testing import PseudoPort, until
from tests.web.conftest import Node, make_node

PAN = {"name": "half pan", "mass": "412 g"}


@pytest.fixture
def port(tmp_path: Path) -> Iterator[PseudoPort]:
    with PseudoPort(tmp_path / "scanner") as plugged:
        yield plugged


def devices(port: PseudoPort, folder: Path) -> str:
    return (
        f'[[device]]\nid = "scanner"\ndriver = "line-scanner"\nport = "{port.path}"\n'
        f'[[device]]\nid = "scale"\ndriver = "serial-scale"\nport = "{folder}/none"\n'
        '[[device.channel]]\nid = "bench-scale"\nname = "mass"\nsite = "bench"\n'
        '[[device]]\nid = "clip"\ndriver = "bthome"\naddress = "02:00:00:00:00:11"\n'
        '[[device.button]]\npress = "next-stage"\n'
    )


def load(node: Node, kilograms: float) -> None:
    """Let something lie still on the scale."""
    for _ in range(14):
        node.clock.advance(250)
        node.daemon.intake.measured("scale", Measurement("mass", Quantity.MASS, kilograms, "kg"))


async def tags(node: Node) -> dict[str, str]:
    listed = (await node.local.get("/api/v1/tags")).json()
    return {one["title"]: one["text"] for one in listed}


async def test_a_tag_scanned_after_the_load_keeps_its_weight(
    port: PseudoPort, tmp_path: Path
) -> None:
    async with make_node(tmp_path, devices(port, tmp_path)) as node:
        await node.begin()
        await node.local.post("/api/v1/containers", json=PAN)
        known = await tags(node)
        assert known.keys() == {"brisket-1", "half pan"}
        links = node.daemon.supervisor.links
        await until(lambda: links()["scanner"] == "up")
        load(node, 6.412)
        port.write(f"{known['half pan']}\r{known['brisket-1']}\r".encode())
        await until(lambda: node.daemon.engine.book.pieces["brisket-1"].weighings != [])
        (one,) = node.daemon.engine.book.pieces["brisket-1"].weighings
        assert (one.weighed.net_mg, one.weighed.container) == (6_000_000, "half pan")
        assert one.by == "scanner"
        port.write(b"4006381333931\r")
        await until(lambda: len(node.daemon.engine.book.notes) == 1)
        assert "no tag of a piece" in node.daemon.engine.book.notes[0][1].text


async def test_the_page_prints_tags(node: Node) -> None:
    empty = await node.local.get("/print/tags")
    assert empty.status_code == 409
    await node.begin()
    page = await node.local.get("/print/tags")
    assert page.status_code == 200
    assert "brisket-1" in page.text
    assert page.text.count("<svg") == 2
    assert "Tags of pieces and trays" in (await node.local.get("/print")).text
