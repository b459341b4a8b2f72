"""Who was told of an alert stands beside it: sent, waiting, failed, or why nobody was."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

from pitlogger.model.readings import Reading
from tests.notify.conftest import WebServer, free_port, web_server
from tests.web.conftest import Node, make_node

__all__ = ["web_server"]  # a fixture
STALE = "channel-stale/brisket-1/core"


def _way(url: str, more: str = "") -> str:
    return f'[[notify.way]]\nid = "phone"\nkind = "webhook"\nurl = "{url}"\n{more}'


async def _alarm(node: Node, wait_s: int = 12) -> None:
    """Let a probe fall silent, and let the time go by that groups messages."""
    await node.begin()
    node.daemon.feed(Reading("brisket-1/core", node.clock.engine_ms(), 60_000))
    while (watch := node.daemon.engine.state.watches.get(STALE)) is None or not watch.holds:
        node.clock.advance(1000)
        node.daemon.tick(node.clock.engine_ms())
    node.daemon.notifier.reconcile(node.clock.engine_ms())
    if wait_s:
        await _send(node, wait_s)


async def _send(node: Node, wait_s: int) -> None:
    node.clock.advance(wait_s * 1000)
    notifier = node.daemon.notifier
    notifier.reconcile(node.clock.engine_ms())
    notifier.tick()
    await notifier.settle()
    await asyncio.wrap_future(node.daemon.store.flush())


async def _page(node: Node) -> str:
    return (await node.local.get("/alarms")).text


async def _told(node: Node) -> list[dict[str, Any]]:
    alerts = (await node.local.get("/api/v1/alerts")).json()
    return next(alert["told"] for alert in alerts if alert["alert"] == STALE)


async def test_a_message_that_went_out_is_shown_as_sent(
    tmp_path: Path, web_server: WebServer
) -> None:
    async with make_node(tmp_path, _way(web_server.url)) as node:
        await _alarm(node)
        (told,) = await _told(node)
        assert (told["way"], told["became"], told["times"]) == ("phone", "sent", 1)
        assert "Sent by phone at" in await _page(node)
        assert (await node.local.get("/api/v1/notices")).json() == []
    assert len(web_server.taken) >= 1


async def test_a_way_that_cannot_be_reached_is_shown_with_its_next_try(tmp_path: Path) -> None:
    async with make_node(tmp_path, _way(f"http://127.0.0.1:{free_port()}/")) as node:
        await _alarm(node)
        (told,) = await _told(node)
        assert (told["became"], told["tries"]) == ("waiting", 1)
        assert "Not sent by phone yet, tried once, again at" in await _page(node)
        (waiting, *_) = (await node.local.get("/api/v1/notices")).json()
        assert waiting["way"] == "phone"


async def test_a_refusal_for_good_is_shown_as_failed(tmp_path: Path, web_server: WebServer) -> None:
    web_server.status = 404
    async with make_node(tmp_path, _way(web_server.url)) as node:
        await _alarm(node)
        (told,) = await _told(node)
        assert told["became"] == "failed"
        assert "Not sent by phone, given up" in await _page(node)


async def test_before_the_first_message_it_is_about_to_be_sent(
    tmp_path: Path, web_server: WebServer
) -> None:
    async with make_node(tmp_path, _way(web_server.url)) as node:
        await _alarm(node, wait_s=0)
        page = await _page(node)
    assert "About to be sent." in page
    assert "data-again" in page  # the page asks until it is known


async def test_a_priority_that_no_way_takes_is_said_so(
    tmp_path: Path, web_server: WebServer
) -> None:
    async with make_node(tmp_path, _way(web_server.url, 'from_priority = "high"\n')) as node:
        await _alarm(node)
        assert "no way takes alerts of this priority" in await _page(node)


async def test_without_a_way_the_alert_says_that_nobody_is_told(node: Node) -> None:
    await _alarm(node)
    assert "no way of being told is configured" in await _page(node)
    assert await _told(node) == []


async def test_what_is_seen_before_it_went_out_is_no_failure(tmp_path: Path) -> None:
    async with make_node(tmp_path, _way(f"http://127.0.0.1:{free_port()}/")) as node:
        await _alarm(node)
        answer = await node.local.post(f"/api/v1/alerts/{STALE}/acknowledge", json={"by": "AK"})
        assert answer.status_code == 200
        await _send(node, 1)
        (told,) = await _told(node)
        assert told["became"] == "withdrawn"
