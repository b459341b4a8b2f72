"""Screens in the pseudo-locale: what shows without accents is an id, a name or a figure."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from pitlogger.model.readings import Reading
from pitlogger.views.language import speaking
from pitlogger.views.template import accented
from tests.views.pseudo import untranslated
from tests.web.conftest import Node

HTML = {"Accept": "text/html"}
# Ids and names of the node and its cook, units, and the name of the product.
KNOWN = {
    "barn", "pitlogger", "supper", "brisket", "bench", "core", "pit", "lb-oz", "kg", "min",
    "retail-food-code", "FDA Food Code", "USD", "http", "pit.test",
}  # fmt: skip


@pytest.fixture(autouse=True)
def pseudo(node: Node) -> Iterator[None]:
    with speaking("en-XA"):  # the node that has begun chose its own
        yield


async def screen(node: Node, path: str) -> str:
    answer = await node.local.get(path, headers=HTML)
    assert answer.status_code == 200, answer.text
    return answer.text


@pytest.mark.parametrize(
    "path", ["/", "/weigh", "/alarms", "/temp", "/weights", "/cooks", "/turn-in"]
)
async def test_most_of_what_a_screen_says_comes_from_the_catalogue(node: Node, path: str) -> None:
    await node.begin()
    for _ in range(3):  # a pit too cold, so that something needs a hand
        node.daemon.feed(Reading("pit", node.clock.engine_ms(), 80_000))
        node.clock.advance(60_000)
        node.daemon.tick(node.clock.engine_ms())
    text = await screen(node, path)
    assert '<html lang="en-XA">' in text
    plain = untranslated(text, KNOWN)
    words = sum(len(re.findall(r"[A-Za-z]{3,}", one)) for one in plain)
    accented = len(re.findall(r"\b\w*[^\W\d_a-zA-Z]\w*\b", text))
    assert words < 0.12 * accented, plain


async def test_the_bare_node_says_it_too(node: Node) -> None:
    text = await screen(node, "/")
    assert accented("No cook is running.") in text
    assert accented("To the content") in text
