"""What became of food whose limit was not met: asked at the end, one action for one breach."""

from __future__ import annotations

from typing import Any

from pitlogger.clock import rfc3339
from pitlogger.model.readings import Reading
from tests.web.conftest import COOK, Node
from tests.web.test_corrections import HOUR_MS, post

PARTS: dict[str, Any] = {"cause": "lid open", "control_restored": "shut", "prevention": "a timer"}


async def fell(node: Node, *values: str) -> None:
    """Hold a piece hot and read it by hand, ten minutes apart."""
    await post(node, "/cooks", toml=COOK)
    await post(node, "/stages", piece="brisket-1", stage="smoking")
    node.clock.advance(8 * HOUR_MS)
    await post(node, "/stages", piece="brisket-1", stage="holding")
    for value in values:
        node.clock.advance(600_000)
        await post(node, "/temps", piece="brisket-1", value=value, by="AB")
        node.clock.advance(1000)
    await node.daemon.flushed()


async def log(node: Node) -> list[dict[str, Any]]:
    await node.daemon.flushed()
    answer = await node.local.get("/api/v1/log")
    return [row for row in answer.json()["rows"] if row["met"] is False]


async def test_served_food_with_an_open_breach_is_asked_about_before_the_cook_ends(
    node: Node,
) -> None:
    await fell(node, "104F")
    await post(node, "/stages", piece="brisket-1", stage="served")
    asked = await post(node, "/cooks/finish", status=409, by="AB")
    assert asked["options"] == ["discarded", "reheated", "kept"]
    assert "brisket-1" in asked["question"]
    assert "104" in asked["question"]
    assert node.daemon.engine.book.finished_ms is None
    await post(node, "/cooks/finish", confirm="discarded", by="AB")
    assert node.daemon.engine.book.finished_ms is not None
    (hand, verdict) = await log(node)
    assert hand["corrective"]["disposition"] == "discarded"
    assert hand["corrective"]["by"] == "AB"
    assert verdict["met"] is False, "what was not met stays not met"


async def test_a_disposition_at_the_end_is_no_corrective_action_in_four_parts(node: Node) -> None:
    await fell(node, "104F")
    await post(node, "/cooks/finish", confirm="discarded", by="AB")
    await node.daemon.flushed()
    refused = await post(node, "/log/sign", status=409, by="CD")
    assert "without its cause" in refused["error"]
    await post(
        node, "/log/corrective", piece="brisket-1", disposition="discarded", by="AB", **PARTS
    )
    await node.daemon.flushed()
    refused = await post(node, "/log/sign", status=400, by="CD")
    assert "PIN" in refused["error"]


async def test_kept_food_asks_why_and_by_whom(node: Node) -> None:
    await fell(node, "104F")
    await post(node, "/stages", piece="brisket-1", stage="served")
    unsigned = await post(node, "/cooks/finish", status=400, disposition="kept", reason="eaten")
    assert "--by" in unsigned["error"]
    why = await post(node, "/cooks/finish", status=400, disposition="kept", by="AB")
    assert "say why" in why["error"]
    assert node.daemon.engine.book.finished_ms is None
    await post(
        node, "/cooks/finish", disposition="kept", reason="ten minutes, eaten at once", by="AB"
    )
    taken = (await log(node))[0]["corrective"]
    assert (taken["disposition"], taken["reason"]) == ("kept", "ten minutes, eaten at once")


async def test_reheated_food_asks_its_reading_and_refuses_one_that_is_too_low(node: Node) -> None:
    await fell(node, "104F")
    ask: dict[str, Any] = {**PARTS, "piece": "brisket-1", "disposition": "reheated", "by": "AB"}
    asked = await post(node, "/log/corrective", status=400, **ask)
    assert "--reading 165F" in asked["error"]
    low = await post(node, "/log/corrective", status=409, reading="150F", **ask)
    assert "165 F" in low["error"]
    assert not [spot for _, spot in node.daemon.engine.book.spots if spot.value_mc > 60_000]
    await post(node, "/stages", piece="brisket-1", stage="reheating", by="AB")
    node.clock.advance(600_000)
    await post(node, "/log/corrective", reading="167F", probe="pen", **ask)
    assert [spot.probe for _, spot in node.daemon.engine.book.spots][-1] == "pen"
    assert (await log(node))[0]["corrective"]["disposition"] == "reheated"


async def test_a_reading_already_on_record_is_enough_for_reheated_food(node: Node) -> None:
    await fell(node, "104F", "168F")
    await post(node, "/log/corrective", piece="brisket-1", disposition="reheated", by="AB", **PARTS)


async def test_one_action_answers_one_of_two_breaches_that_both_lie_before_it(node: Node) -> None:
    await fell(node, "104F", "150F", "110F", "155F")
    ask: dict[str, Any] = {**PARTS, "piece": "brisket-1", "disposition": "kept", "by": "AB"}
    ask["reason"] = "a minute"
    asked = await post(node, "/log/corrective", status=409, **ask)
    assert "which one" in asked["question"]
    first, second = asked["options"]
    assert "104" in first
    assert "110" in second
    await post(node, "/log/corrective", confirm=first, **ask)
    rows = await log(node)
    answered = {row["value"]: row["corrective"] is not None for row in rows if row["id"]}
    assert answered == {"104.0 F": True, "110.0 F": False}
    assert rows[-1]["id"] is None
    assert rows[-1]["corrective"] is None, "the verdict waits for both"
    await post(node, "/log/corrective", **ask)  # one is left: it is the one that is meant
    assert all(row["corrective"] for row in await log(node))


async def test_a_moment_names_the_breach(node: Node) -> None:
    await fell(node, "104F", "150F", "110F")
    at = (await log(node))[0]["observed_at"]
    await post(
        node, "/log/corrective", piece="brisket-1", disposition="discarded", by="AB", breach=at,
        **PARTS,
    )  # fmt: skip
    rows = await log(node)
    assert [row["corrective"] is not None for row in rows] == [True, False, False]
    early = await post(
        node, "/log/corrective", status=400, piece="brisket-1", disposition="discarded", by="AB",
        breach="2020-01-01T00:00:00Z", **PARTS,
    )  # fmt: skip
    assert "no limit was known" in early["error"]


async def test_an_alarm_about_food_ends_with_its_disposition_and_its_cook(node: Node) -> None:
    await fell(node, "104F")
    node.clock.advance(120_000)
    node.daemon.tick(node.clock.engine_ms())
    watches = node.daemon.engine.state.watches
    assert watches["hot-hold-low/brisket-1"].state == "unacknowledged"
    await post(node, "/cooks/finish", confirm="discarded", by="AB")
    assert watches["hot-hold-low/brisket-1"].state == "normal"


async def test_a_reading_typed_an_hour_late_and_the_alarm_it_raises_are_one_breach(
    node: Node,
) -> None:
    await fell(node)
    node.clock.advance(HOUR_MS)
    at = rfc3339(node.clock.engine_ms() - HOUR_MS // 2)
    await post(node, "/temps", piece="brisket-1", value="120F", at=at, by="AB")
    node.daemon.tick(node.clock.engine_ms())
    assert node.daemon.engine.state.watches["hot-hold-low/brisket-1"].holds
    node.clock.advance(1000)
    await post(node, "/stages", piece="brisket-1", stage="served", by="AB")
    asked = await post(node, "/cooks/finish", status=409, by="AB")
    assert asked["question"].count("brisket-1, hot hold") == 1
    assert "120" in asked["question"]


async def test_a_breach_that_the_record_alone_shows_is_asked_about_at_the_end(node: Node) -> None:
    await post(node, "/cooks", toml=COOK)
    await post(node, "/stages", piece="brisket-1", stage="smoking")
    for minute in range(90):
        node.daemon.feed(Reading("brisket-1/core", node.clock.engine_ms(), 5_000 + minute * 300))
        node.clock.advance(60_000)
        node.daemon.tick(node.clock.engine_ms())
    served = await post(node, "/cooks/finish", status=409, by="AB")
    eaten = "served or handed over"
    asked = await post(node, "/cooks/finish", status=409, by="AB", confirm=eaten)
    assert served["options"][0] == eaten
    assert "lethality, by the record" in asked["question"]
    assert node.daemon.engine.book.finished_ms is None
    await post(node, "/cooks/finish", confirm=asked["confirm"].replace("; discarded", "; kept"),
               reason="raw by intent", by="AB")  # fmt: skip
    (row,) = await log(node)
    assert row["corrective"]["disposition"] == "kept"


async def test_corrective_action_after_the_end_joins_the_record_of_its_cook(node: Node) -> None:
    await fell(node, "104F")
    await post(node, "/cooks/finish", confirm="discarded", by="AB")
    before = (await node.local.get("/api/v1/log")).json()
    first = before["cook"]
    await post(
        node, "/cooks", toml=COOK.replace("brisket-1", "brisket-9").replace("supper", "lunch")
    )
    written = {"piece": "brisket-1", "disposition": "discarded", "by": "AB", **PARTS}
    assert "brisket-9" in (await post(node, "/log/corrective", status=400, **written))["error"]
    await post(node, "/log/corrective", cook=first, **written)
    await node.daemon.flushed()
    after = (await node.local.get("/api/v1/log", params={"cook": first})).json()
    assert after["entries"] == before["entries"] + 1
    assert after["head"] != before["head"]
    rows = [row for row in after["rows"] if row["met"] is False]
    assert [row["corrective"]["cause"] for row in rows] == ["lid open"] * 2
