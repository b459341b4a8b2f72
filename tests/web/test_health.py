"""Health and metrics on the network; the official parser reads what is served."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from prometheus_client.openmetrics.parser import text_string_to_metric_families

from pitlogger.model.readings import Reading
from pitlogger.store.rows import Trouble
from pitlogger.web.access.roles import Role
from pitlogger.web.routes import health
from tests.web.conftest import START_MS, Node, make_node

WAY = '[[notify.way]]\nid = "phone"\nkind = "webhook"\nurl = "http://127.0.0.1:9/"\n'


async def test_health_needs_no_key(node: Node) -> None:
    answer = await node.network.get("/healthz")
    assert (answer.status_code, answer.json()) == (
        200,
        {"well": True, "store": True, "engine": True},
    )


async def test_a_store_that_cannot_write_is_not_well(node: Node) -> None:
    node.daemon.troubles.standing = Trouble("no room", "make room")
    answer = await node.network.get("/healthz")
    assert (answer.status_code, answer.json()["store"]) == (503, False)


async def test_a_disk_that_hangs_is_not_well(node: Node, monkeypatch: Any) -> None:
    monkeypatch.setattr(type(node.daemon.store), "wait_s", health.HUNG_S + 1.0)
    assert (await node.network.get("/healthz")).status_code == 503


async def test_a_disk_that_was_idle_is_asked_to_write(node: Node, monkeypatch: Any) -> None:
    monkeypatch.setattr(health, "ASK_AGAIN_S", 0.0)
    asked: list[bool] = []
    monkeypatch.setattr(type(node.daemon.store), "beat", lambda store: asked.append(True))
    assert (await node.network.get("/healthz")).status_code == 200
    assert asked == [True]


async def test_an_engine_left_behind_by_its_clock_is_not_well(node: Node) -> None:
    node.clock.advance(60_000)
    answer = await node.network.get("/healthz")
    assert (answer.status_code, answer.json()["engine"]) == (503, False)


BEHIND = "pitlogger_engine_behind_seconds "


async def test_metrics_are_served_by_the_rules_of_any_reading(node: Node) -> None:
    assert (await node.network.get("/metrics")).status_code == 401
    _, key = node.access.admit("program", "collector", Role.LOOK)
    answer = await node.network.get("/metrics", headers={"Authorization": f"Bearer {key}"})
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("application/openmetrics-text; version=1.0.0")
    assert (await node.local.get("/metrics")).status_code == 200  # the socket's file is its lock


async def test_the_official_parser_reads_the_metrics_of_a_cook(tmp_path: Path) -> None:
    async with make_node(tmp_path, WAY) as node:
        await node.begin()
        node.daemon.feed(Reading("pit", START_MS, 115_000))
        families = text_string_to_metric_families(  # type: ignore[no-untyped-call]
            (await node.local.get("/metrics")).text
        )
        read = {s.name: (s.labels, s.value) for family in families for s in family.samples}
    assert read["pitlogger_well"][1] == 1.0
    assert read["pitlogger_cook_running"][1] == 1.0
    assert read["pitlogger_temperature_celsius"] == (
        {"channel": "pit", "site": "pit", "piece": ""},
        115.0,
    )
    assert read["pitlogger_notices_waiting"] == ({"way": "phone"}, 0.0)
    assert read["pitlogger_notice_age_seconds"] == ({"way": "phone"}, 0.0)
    assert read["pitlogger_commit_seconds"][1] > 0  # the cook's start was written
    assert read["pitlogger_connections_refused_total"][1] == 0


async def test_metrics_say_how_far_the_engine_is_behind(node: Node) -> None:
    async def behind() -> float:
        text = (await node.local.get("/metrics")).text
        (line,) = (line for line in text.splitlines() if line.startswith(BEHIND))
        return float(line.removeprefix(BEHIND))

    await node.begin()
    before = await behind()
    node.daemon.engine.state.t_ms -= 7_000
    assert await behind() == before + 7
