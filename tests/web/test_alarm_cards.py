"""What one fire does wrong is one card; what one cause brings along is not told twice."""

from __future__ import annotations

import re

from pitlogger.model.alerts import AlertState
from tests.web.conftest import Node

HTML = {"Accept": "text/html"}


async def _screen(node: Node, path: str) -> str:
    return (await node.network.get(path, headers=node.cookie() | HTML)).text


def _raise(node: Node, kind: str, subject: str, text: str, **more: str) -> None:
    engine, now_ms = node.daemon.engine, node.clock.engine_ms()
    engine.alerts.tell(kind, subject, now_ms, True, text, **more)
    watch = engine.state.watches[f"{kind}/{subject}"]
    watch.state, watch.raised_ms = AlertState.UNACKNOWLEDGED, now_ms  # its delay has passed


async def test_a_cold_and_falling_pit_is_one_card_with_one_tap(node: Node) -> None:
    await node.begin()
    _raise(node, "pit-low", "pit", "pit at 90 C, under 99 C", channel="pit")
    _raise(node, "pit-falling", "pit", "pit: fell under 99 C", channel="pit")
    page = await _screen(node, "/alarms")
    cards = re.search(r'<section id="alerts".*?</section>', page, re.DOTALL)
    assert cards is not None
    assert cards[0].count('article class="alert group') == 1
    assert "Got it, all 2" in cards[0]
    assert "Add fuel or give it air" in cards[0]  # the remedy of the cause
    assert re.search(r'<p class="since">[^<;]*pit[^<;]*;', cards[0])  # what it brings along
    home = await _screen(node, "/")
    assert "Got it, all 2" in home


async def test_a_pit_that_is_cold_and_another_that_falls_are_two(node: Node) -> None:
    await node.begin()
    _raise(node, "pit-low", "pit", "pit at 90 C, under 99 C", channel="pit")
    _raise(node, "pit-falling", "pit-2", "pit-2: fell under 99 C", channel="pit-2")
    assert "Got it, all" not in await _screen(node, "/alarms")


async def test_that_nobody_is_told_is_said_once(node: Node) -> None:
    await node.begin()
    _raise(node, "pit-low", "pit", "pit at 90 C, under 99 C", channel="pit")
    page = await _screen(node, "/alarms")
    assert page.count("Nobody is told: no way of being told is configured.") == 1


async def test_no_remedy_asks_for_a_command(node: Node) -> None:
    for rule in node.daemon.policy.rules.values():
        for text in (rule.remedy, rule.cause, rule.consequence):
            assert "pitlogger " not in text
            assert "channel" not in text.casefold()
    assert all(w.state is AlertState.NORMAL for w in node.daemon.engine.state.watches.values())
