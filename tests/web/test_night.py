"""The bedtime check: what is not in order, what comes till morning, and the ring test."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from pitlogger.engine.step import Engine
from pitlogger.model.cooks import Channel
from pitlogger.model.journal import ForecastMade, Noted
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Reading, Site
from pitlogger.rules.messages import Units
from pitlogger.views.shown import Shown
from pitlogger.web.overnight.night import MORNING_H, comes_till, morning_ms
from tests.notify.conftest import WebServer, free_port, web_server
from tests.web.conftest import START_MS, Node, make_node

__all__ = ["web_server"]  # a fixture
HOUR_MS = 3_600_000


def _way(url: str) -> str:
    return f'[[notify.way]]\nid = "phone"\nkind = "webhook"\nurl = "{url}"\n'


async def _night(node: Node) -> dict[str, Any]:
    return (await node.local.get("/api/v1/night")).json()  # type: ignore[no-any-return]


def _bad(facts: dict[str, Any]) -> list[str]:
    return [check["text"] for check in facts["checks"] if not check["good"]]


async def test_a_probe_that_is_silent_is_not_in_order(node: Node) -> None:
    await node.begin()
    node.daemon.feed(Reading("pit", START_MS, 115_000))
    facts = await _night(node)
    assert any(text.startswith("brisket-1: no reading yet") for text in _bad(facts))
    assert any(c["good"] and c["text"].startswith("pit reads") for c in facts["checks"])


async def test_what_wakes_is_told_with_its_limit(node: Node) -> None:
    await node.begin()
    for _ in range(3):
        node.daemon.feed(Reading("pit", node.clock.engine_ms(), 115_000))
        node.clock.advance(60_000)
        node.daemon.tick(node.clock.engine_ms())
    facts = await _night(node)
    assert "pit too cold: pit below 210 F" in facts["wakes_at"]
    assert "a disk that cannot be written" in facts["wakes_at"]
    assert "pit-low" in facts["will_wake"]


async def test_what_may_come_before_morning_is_told_apart(node: Node) -> None:
    await node.begin()
    shown = Shown(Units(), node.clock.engine_ms())
    ends_ms = morning_ms(shown)
    for hours in (-1, 5):
        p10, p50, p90 = (ends_ms + (hours + later) * HOUR_MS for later in (0, 2, 4))
        made = ForecastMade("brisket-1", "pull", 0.9, False, START_MS, p10, p50, p90)
        assert comes_till(made, ends_ms) is (hours < 0)
        node.daemon.engine.state.foreseen["brisket-1/pull"] = made
        (row,) = (await _night(node))["expected"]
        assert (row["till_morning"], row["wakes"]) == (hours < 0, True)


@pytest.mark.parametrize("hour", [0, 6, 7, 22])
def test_morning_is_the_next_seven_o_clock(hour: int) -> None:
    now = datetime(2026, 6, 19, hour, 30).astimezone()
    shown = Shown(Units(), round(now.timestamp() * 1000))
    at = shown.moment(morning_ms(shown))
    assert (at.hour, at.minute) == (MORNING_H, 0)
    assert 0 < (at - now).total_seconds() <= 24 * 3600


async def test_a_ring_test_is_heard_and_written_down(tmp_path: Path, web_server: WebServer) -> None:
    async with make_node(tmp_path, _way(web_server.url)) as node:
        await node.begin()
        rung = (await node.local.post("/api/v1/ring-tests", json={})).json()
        assert [(w["way"], w["arrived"]) for w in rung["ways"]] == [("phone", True)]
        assert len(web_server.taken) == 1
        assert any("nobody said that the ring test" in text for text in _bad(await _night(node)))
        heard = await node.local.post("/api/v1/ring-tests/heard", json={"by": "AK"})
        assert heard.json()["heard_by"] == "AK"
        facts = await _night(node)
        assert any(c["good"] and "heard at" in c["text"] for c in facts["checks"])
        last = node.daemon.engine.state.entries[-1]
        assert isinstance(last.body, Noted)
        assert (last.body.text, last.by) == ("Ring test heard (phone).", "AK")


async def test_a_way_that_does_not_ring_is_not_in_order(tmp_path: Path) -> None:
    async with make_node(tmp_path, _way(f"http://127.0.0.1:{free_port()}/")) as node:
        await node.local.post("/api/v1/ring-tests", json={})
        assert any("did not get through by phone" in text for text in _bad(await _night(node)))
        page = (await node.local.get("/turn-in")).text
    assert "FAILED" in page
    assert "Did it reach you?" in page


async def test_nothing_can_be_heard_that_was_not_rung(node: Node) -> None:
    answer = await node.local.post("/api/v1/ring-tests/heard", json={})
    assert answer.status_code == 409


@pytest.mark.parametrize(("charge", "is_low"), [(12_000, True), (88_000, False)])
async def test_a_battery_is_looked_at_before_bed(node: Node, charge: int, is_low: bool) -> None:
    daemon = node.daemon
    battery = Channel("box/battery", Site.NONE, quantity=Quantity.BATTERY)
    daemon.engine = Engine(
        daemon.engine.state, daemon.policy, daemon.units, [*daemon.channels, battery]
    )
    daemon.feed(Reading("box/battery", node.clock.engine_ms(), charge))
    (check,) = [c for c in (await _night(node))["checks"] if "battery at" in c["text"]]
    assert check["good"] is not is_low
    assert bool(check["remedy"]) is is_low
