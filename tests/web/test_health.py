"""Health and metrics on the network."""

from __future__ import annotations

from tests.web.conftest import Node


async def test_health_needs_no_key(node: Node) -> None:
    answer = await node.network.get("/healthz")
    assert (answer.status_code, answer.json()["well"]) == (200, True)


async def test_metrics_need_a_key_and_end_as_openmetrics_does(node: Node) -> None:
    assert (await node.network.get("/metrics")).status_code == 401
    answer = await node.network.get("/metrics", headers=node.cookie())
    assert answer.headers["content-type"].startswith("application/openmetrics-text")
    assert answer.text.endswith("# EOF\n")
