"""The list of containers: kept on disk, chosen when weighing, recognised on the scale."""

from __future__ import annotations

from pathlib import Path

import pytest

from pitlogger.errors import UsageError
from pitlogger.model.journal import Weighed
from pitlogger.model.readings import Reading
from pitlogger.node.containers import FILE, containers, keep, looks_like, remove
from tests.web.conftest import Node, make_node


async def _put(node: Node, **ask: str) -> dict[str, object]:
    answer = await node.local.post("/api/v1/containers", json={"by": "AK", **ask})
    assert answer.status_code == 200, answer.text
    return answer.json()  # type: ignore[no-any-return]


def _load(node: Node, grams: int) -> None:
    """Put a mass on the scale and let it come to rest."""
    for _ in range(40):
        node.clock.advance(200)
        node.daemon.feed(Reading("bench-scale", node.clock.engine_ms(), grams * 1000))


async def test_a_container_typed_in_is_listed_with_who_and_when(node: Node) -> None:
    await _put(node, name="half pan 1", mass="412 g")
    (row,) = (await node.local.get("/api/v1/containers")).json()
    assert (row["container"], row["tare_g"], row["by"]) == ("half pan 1", 412.0, "AK")


async def test_a_container_is_weighed_empty(node: Node) -> None:
    await node.begin()
    _load(node, 640)
    assert (await _put(node, name="tray"))["tare_g"] == 640.0


async def test_what_is_not_steady_is_no_container(node: Node) -> None:
    await node.begin()
    answer = await node.local.post("/api/v1/containers", json={"name": "tray"})
    assert answer.status_code in (400, 409)
    assert containers(node.daemon) == {}


async def test_a_weighing_that_names_it_takes_its_tare(node: Node) -> None:
    await node.begin()
    await _put(node, name="half pan 1", mass="412 g")
    ask = {"piece": "brisket-1", "checkpoint": "purchased", "mass": "6412 g",
           "container": "half pan 1"}  # fmt: skip
    answer = await node.local.post("/api/v1/weighings", json=ask)
    assert answer.json()["net_g"] == 6000.0
    body = node.daemon.engine.state.entries[-1].body
    assert isinstance(body, Weighed)
    assert (body.container, body.preset_tare) == ("half pan 1", True)


async def test_a_tare_that_is_given_stands_over_that_of_the_list(node: Node) -> None:
    await node.begin()
    await _put(node, name="half pan 1", mass="412 g")
    ask = {"piece": "brisket-1", "checkpoint": "purchased", "mass": "6412 g",
           "container": "half pan 1", "tare": "500 g"}  # fmt: skip
    answer = await node.local.post("/api/v1/weighings", json=ask)
    assert answer.json()["net_g"] == 5912.0


async def test_one_taken_off_the_list_stays_off(node: Node) -> None:
    await _put(node, name="tray", mass="1 lb")
    answer = await node.local.post("/api/v1/containers/tray/remove", json={"by": "MO"})
    assert answer.status_code == 200
    assert (await node.local.get("/api/v1/containers")).json() == []
    again = await node.local.post("/api/v1/containers/tray/remove", json={})
    assert again.status_code == 400
    assert "tray" in again.json()["error"]


async def test_the_list_outlives_the_run_and_a_line_torn_by_a_power_cut(tmp_path: Path) -> None:
    async with make_node(tmp_path) as node:
        keep(node.daemon, "tray", 453_592, "AK")
    with (tmp_path / FILE).open("ab") as file:
        file.write(b'{"name": "half')
    async with make_node(tmp_path) as node:
        assert list(containers(node.daemon)) == ["tray"]
        keep(node.daemon, "board", 900_000, "AK")
        assert list(containers(node.daemon)) == ["board", "tray"]
        remove(node.daemon, "tray", "AK")
        assert list(containers(node.daemon)) == ["board"]


async def test_a_container_of_no_mass_is_refused(node: Node) -> None:
    with pytest.raises(UsageError, match="weigh it empty"):
        keep(node.daemon, "tray", 0, "AK")


async def test_a_mass_that_two_containers_fit_is_neither(node: Node) -> None:
    keep(node.daemon, "tray", 640_000, "")
    assert looks_like(node.daemon, 641_000, 1000) is not None
    keep(node.daemon, "board", 642_000, "")
    assert looks_like(node.daemon, 641_000, 1000) is None


async def test_the_page_names_what_an_empty_container_on_the_scale_is(node: Node) -> None:
    await node.begin()
    keep(node.daemon, "half pan 1", 412_000, "AK")
    _load(node, 412)
    page = (await node.local.get("/weigh")).text
    assert "This looks like half pan 1, empty." in page
    assert 'aria-label="The meat lies in half pan 1"' in page


async def test_a_steady_mass_names_the_likely_piece(node: Node) -> None:
    answer = await node.local.post("/api/v1/cooks", json={"toml": _TWO})
    assert answer.status_code == 200, answer.text
    for piece, bought in (("brisket-1", "7 kg"), ("butt-1", "2 kg")):
        for path, ask in (
            ("weighings", {"piece": piece, "checkpoint": "purchased", "mass": bought}),
            ("stages", {"piece": piece, "stage": "trimmed"}),
        ):
            assert (await node.local.post(f"/api/v1/{path}", json=ask)).status_code == 200
    for grams, likely, other in ((5700, "brisket-1", "butt-1"), (1900, "butt-1", "brisket-1")):
        _load(node, grams)
        page = (await node.local.get("/weigh")).text
        assert f"<b>{likely}</b><small>trimmed, by its mass</small>" in page
        assert f"<b>{other}</b><small>trimmed</small>" in page


_TWO = """
[cook]
name = "supper"
[[piece]]
id = "brisket-1"
cut = "brisket-packer"
[[piece]]
id = "butt-1"
cut = "pork-butt"
[[channel]]
id = "bench-scale"
site = "bench"
"""
