"""A cook that is served before it begins: asked about; entered afterwards it is no question."""

from __future__ import annotations

from pitlogger.clock import rfc3339
from pitlogger.questions import Answers
from tests.web.conftest import COOK, Node
from tests.web.test_corrections import HOUR_MS, post


def served(at_ms: int) -> str:
    return COOK.replace('"supper"', f'"supper"\nserve_at = "{rfc3339(at_ms)}"', 1)


async def test_an_hour_of_serving_before_the_cook_begins_is_asked_about(node: Node) -> None:
    hour = node.clock.engine_ms() - HOUR_MS
    asked = await post(node, "/cooks", status=409, toml=served(hour))
    assert asked["options"] == ["it was served then", "begin without an hour"]
    assert "before it begins" in asked["question"]
    assert node.daemon.engine.book.cook is None
    await post(node, "/cooks", toml=served(hour), at=rfc3339(hour - HOUR_MS))
    assert node.daemon.engine.book.cook is not None
    await post(node, "/cooks/finish")
    await post(node, "/cooks", toml=served(hour), confirm="Begin without an hour")
    assert node.daemon.engine.book.cook is not None
    assert node.daemon.engine.book.cook.services == ()


def test_an_answer_counts_however_its_spaces_are_typed() -> None:
    options = ("215\u202fF to 275\u202fF", "250\u202fF to 300\u202fF")
    assert Answers.of("250F TO 300 f").choose("which?", options) == options[1]
