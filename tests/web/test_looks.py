"""What a piece looks to be in, as it is asked and answered over the API."""

from __future__ import annotations

from typing import Any

from pitlogger.inference.recogniser import Sight, StageProposal
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import StageSet
from tests.web.conftest import Node

KEY = "stage-likely/brisket-1"


async def looking(node: Node, stage: Stage, ago_min: float = 10.0) -> None:
    """Begin a cook whose piece looks to be in a stage."""
    await node.begin()
    engine = node.daemon.engine
    now_ms = node.clock.engine_ms()
    at_ms = now_ms - round(ago_min * 60_000)
    sight = engine.state.sights["brisket-1"] = Sight()
    sight.known = [(mark.stage, mark.at_ms) for mark in engine.book.pieces["brisket-1"].marks]
    found = [StageProposal(stage, at_ms, 0.94)]
    engine.recognition.proposals["brisket-1"] = found
    engine.alerts.tell(
        "stage-likely", "brisket-1", now_ms, True, "brisket-1: looks so", piece="brisket-1"
    )


async def answered(node: Node, reason: str, **more: Any) -> Any:
    given = {"reason": reason, "by": "AK", **more}
    return await node.local.post(f"/api/v1/alerts/{KEY}/answer", json=given)


def marks(node: Node) -> list[StageSet]:
    return node.daemon.engine.book.pieces["brisket-1"].marks


async def test_it_is_listed_with_when_and_how_likely(node: Node) -> None:
    await looking(node, Stage.SMOKING)
    rows = (await node.local.get("/api/v1/alerts")).json()
    row = next(row for row in rows if row["alert"] == KEY)
    assert "looks" in row["message"]
    assert "94 % likely" in row["message"]


async def test_a_yes_sets_the_stage_at_its_time_and_can_be_undone(node: Node) -> None:
    await looking(node, Stage.SMOKING)
    answer = await answered(node, "yes")
    assert answer.status_code == 200
    (mark,) = marks(node)
    assert (mark.stage, mark.source, mark.confirmed, mark.p) == ("smoking", "inferred", True, 0.94)
    assert node.clock.engine_ms() - mark.at_ms >= 600_000
    undone = await node.local.post("/api/v1/undo", json={"entry": answer.json()["id"], "by": "AK"})
    assert undone.status_code == 200, undone.text
    assert marks(node) == []


async def test_off_the_pit_is_asked_with_its_consequence_first(node: Node) -> None:
    await looking(node, Stage.RESTING)
    answer = await answered(node, "yes")
    assert answer.status_code == 409
    asked = answer.json()
    assert asked["options"] == ["yes", "no"]
    assert "hot-holding" in asked["question"]
    assert marks(node) == []
    assert (await answered(node, "yes", confirm=asked["confirm"])).status_code == 200
    assert marks(node)[-1].stage is Stage.RESTING


async def test_a_no_sets_nothing_and_is_kept(node: Node) -> None:
    await looking(node, Stage.SMOKING)
    assert (await answered(node, "no")).status_code == 200
    assert marks(node) == []
    assert node.daemon.engine.state.sights["brisket-1"].denied


async def test_without_an_answer_it_is_asked(node: Node) -> None:
    await looking(node, Stage.SMOKING)
    answer = await answered(node, "")
    assert answer.status_code == 409
    assert answer.json()["options"] == ["yes", "no"]
    assert marks(node) == []


async def test_a_yes_to_what_is_asked_no_more_is_refused(node: Node) -> None:
    await looking(node, Stage.SMOKING)
    node.daemon.engine.recognition.proposals.clear()
    answer = await answered(node, "yes")
    assert answer.status_code == 409
    assert "nothing is asked" in answer.text
    assert marks(node) == []


async def test_the_page_shows_it_with_yes_and_no(node: Node) -> None:
    await looking(node, Stage.SMOKING)
    page = (await node.network.get("/alarms", headers=node.cookie())).text
    assert "looks" in page
    assert 'value="yes"' in page
    assert 'value="no"' in page
