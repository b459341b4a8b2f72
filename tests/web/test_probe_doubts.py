"""A person's word that a doubt of a probe was right or wrong; and what stays on record."""

from __future__ import annotations

from typing import Any

from pitlogger.model.journal import ChannelDoubted
from pitlogger.model.quantities import milli_c_from_fahrenheit
from pitlogger.model.readings import Reading
from tests.web.conftest import COOK, Node
from tests.web.test_corrections import post

CORE = "brisket-1/core"
WORD: dict[str, Any] = {"channel": CORE, "by": "AB"}


def read(node: Node, fahrenheit: float, minutes: int) -> None:
    for _ in range(minutes * 6):
        node.clock.advance(10_000)
        now_ms = node.clock.engine_ms()
        node.daemon.feed(Reading(CORE, now_ms, milli_c_from_fahrenheit(fahrenheit)))
        node.daemon.tick(now_ms)


async def in_the_air(node: Node, fahrenheit: float = 225) -> None:
    await post(node, "/cooks", toml=COOK)
    await post(node, "/stages", piece="brisket-1", stage="smoking")
    read(node, 118, 20)
    read(node, fahrenheit, 10)


def doubts(node: Node) -> list[tuple[str, ChannelDoubted]]:
    return node.daemon.engine.book.doubted


async def test_a_word_that_a_doubt_was_wrong_wants_a_hand_reading_that_agrees(node: Node) -> None:
    await in_the_air(node, 160)
    assert doubts(node)
    before = len(doubts(node))
    refused = await post(node, "/doubts", status=409, doubt="wrong", **WORD)
    assert "a word alone gives brisket-1/core no credit" in refused["error"]
    assert len(doubts(node)) == before, "nothing was written"
    await post(node, "/temps", piece="brisket-1", value="161F", by="AB")
    told = await post(node, "/doubts", doubt="wrong", **WORD)
    by, body = doubts(node)[-1]
    assert (by, body.believed) == ("AB", True)
    await post(node, "/undo", entry=told["id"], by="AB")
    assert not any(body.believed for _, body in doubts(node))


async def test_a_word_that_it_was_right_is_kept_with_who_said_so(node: Node) -> None:
    await in_the_air(node)
    await post(node, "/doubts", doubt="right", **WORD)
    by, body = doubts(node)[-1]
    assert (by, body.believed, body.reason) == ("AB", False, "out of the meat")
    page = (await node.local.get("/food")).text
    assert "Doubts of probes" in page
    assert "Said to be right" in page


async def test_a_word_is_signed_and_about_something(node: Node) -> None:
    await in_the_air(node)
    unsigned = await post(node, "/doubts", status=400, channel=CORE, doubt="right")
    assert "--by" in unsigned["error"]
    unknown = await post(node, "/doubts", status=400, channel="brisket-1/cor", doubt="right")
    assert CORE in unknown["error"]
    early = await post(
        node, "/doubts", status=400, doubt="right", since="2020-01-01T00:00:00Z", **WORD
    )
    assert "nothing is on record" in early["error"]


async def test_what_the_node_noticed_is_not_taken_back_but_answered(node: Node) -> None:
    await in_the_air(node)
    entries = [
        one for one in node.daemon.engine.state.entries if isinstance(one.body, ChannelDoubted)
    ]
    await node.daemon.flushed()
    refused = await post(node, "/undo", status=400, entry=entries[-1].id, by="AB")
    assert "channel doubt" in refused["error"]
    await post(node, "/undo", by="AB")  # the last decision is the stage, not the doubt
    assert node.daemon.engine.book.pieces["brisket-1"].stage == "raw"


async def test_a_check_and_corrective_action_say_that_they_stay(node: Node) -> None:
    await post(node, "/cooks", toml=COOK)
    check = await post(
        node, "/checks", instrument="pen", method="ice", error=100, tolerance=1000, within=True,
        by="AB",
    )  # fmt: skip
    action = await post(
        node, "/log/corrective", piece="brisket-1", cause="c", control_restored="r",
        prevention="p", disposition="discarded", by="AB",
    )  # fmt: skip
    await node.daemon.flushed()
    for entry, instead in ((check, "pitlogger check"), (action, "pitlogger record correct")):
        for path, more in (("/undo", {}), ("/corrections", {"reason": "x"})):
            refused = await post(node, path, status=400, entry=entry["id"], by="AB", **more)
            assert "stays as it is" in refused["error"]
            assert instead in refused["error"]
            assert "no entry" not in refused["error"]
