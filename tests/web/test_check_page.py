"""Checks of probes and scales on the page, and a test of each way of being told."""

from __future__ import annotations

from typing import Any

import pytest

from pitlogger.model.journal import CheckMade
from tests.web.conftest import Node

JSON = {"Accept": "application/json"}


async def _do(node: Node, action: str, **fields: str) -> tuple[int, dict[str, Any]]:
    answer = await node.network.post(f"/do/{action}", data=fields, headers=node.cookie() | JSON)
    return answer.status_code, answer.json()


async def _checks(node: Node) -> list[CheckMade]:
    await node.daemon.flushed()
    kept = await node.daemon.ask(lambda reader: reader.entries(kinds=("check-made",)))
    return [entry.body for entry in kept if isinstance(entry.body, CheckMade)]


# Tolerance of a food thermometer: 2 F (Food Code 4-203.11).
@pytest.mark.parametrize(
    ("shown", "within"), [("33", True), ("34", True), ("34,2", False), ("29.9", False)]
)
async def test_ice_water_is_judged_in_the_phones_unit(node: Node, shown: str, within: bool) -> None:
    await node.begin()
    status, said = await _do(
        node, "check-probe", method="ice", other="<i>hand</i>", value=shown, key=f"k{shown}"
    )
    assert status in (200, 202), said
    assert [one.within for one in await _checks(node)] == [within]
    assert ("limit not met" in said["said"]) is not within
    page = (await node.network.get("/checks", headers=node.cookie())).text
    assert "&lt;i&gt;hand&lt;/i&gt;" in page
    assert "<i>hand" not in page


async def test_a_check_sent_twice_is_kept_once(node: Node) -> None:
    await node.begin()
    for _ in range(2):
        await _do(node, "check-probe", method="ice", other="hand", value="32", key="same")
    assert len(await _checks(node)) == 1


# Water boils at 100 C at sea level, and near 95 C at 1 500 m (standard atmosphere).
async def test_boiling_water_needs_the_altitude(node: Node) -> None:
    await node.begin()
    status, said = await _do(node, "check-probe", method="boil", other="hand", value="203")
    assert (status, said["field"]) == (400, "altitude")
    status, said = await _do(
        node, "check-probe", method="boil", other="hand", value="203", altitude="1500 m"
    )
    assert "limit met" in said["said"]
    status, said = await _do(
        node, "check-probe", method="boil", other="hand", value="203", altitude="high"
    )
    assert status == 400
    assert len(await _checks(node)) == 1


async def test_a_scale_is_judged_with_a_known_mass(node: Node) -> None:
    await node.begin()
    given = {"other": "bench", "mass": "2 kg", "mass-interval": "1 g"}
    _, said = await _do(node, "check-scale", **given, **{"mass-shown": "2.000 kg"})
    assert "limit met" in said["said"]
    _, said = await _do(node, "check-scale", **given, **{"mass-shown": "2.050 kg"})
    assert "limit not met" in said["said"]
    status, said = await _do(node, "check-scale", other="bench", mass="2 kg")
    assert (status, said["field"]) == (400, "mass-shown")


async def test_a_way_that_is_not_there_is_said(node: Node) -> None:
    page = (await node.network.get("/heard", headers=node.cookie())).text
    assert "No way of being told is set up" in page
    status, said = await _do(node, "try-way", way="phone")
    assert status == 400
    assert "way" in said["error"]
