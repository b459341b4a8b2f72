"""The outlook through the API and as the command prints it: targets, what-if, service, hold."""

from __future__ import annotations

import re

import numpy as np

from pitlogger.cli.cooking.forecast import outlook_text
from pitlogger.model.journal import ForecastMade
from pitlogger.model.readings import Quality, Reading
from pitlogger.rules.messages import Units
from pitlogger.views.shown import Shown
from pitlogger.web.page.cooking.what_if import _degrees
from tests.forecast.made import PIT_C, cook_c
from tests.web.conftest import Node

MINUTE_MS = 60_000
COOK = """
[cook]
name = "supper"
guests = 40
[[service]]
at = "{at}"
place = "barn"
drive_min = 20
[[piece]]
id = "brisket-1"
cut = "brisket-packer"
mass = "5.2 kg"
wrap = "paper"
wrap_at = "165F"
pull_at = "203F"
[[channel]]
id = "pit"
site = "pit"
[[channel]]
id = "core"
site = "core"
piece = "brisket-1"
"""


async def cook(node: Node, hours: float, at: str = "2026-09-22T12:00:00Z") -> None:
    """Cook a brisket for so long."""
    (await node.local.post("/api/v1/cooks", json={"toml": COOK.format(at=at)})).raise_for_status()
    await node.local.post("/api/v1/stages", json={"piece": "brisket-1", "stage": "smoking"})
    minutes = np.arange(int(hours * 60))
    core = cook_c(np.maximum(minutes / 60.0, 1e-9))
    for level in core:
        feed(node, float(level))
    await node.daemon.forecasting.settled()


def feed(node: Node, core_c: float) -> None:
    node.clock.advance(MINUTE_MS)
    now_ms = node.clock.engine_ms()
    node.daemon.feed(Reading("pit", now_ms, round(PIT_C * 1000), Quality.GOOD, None))
    node.daemon.feed(Reading("core", now_ms, round(core_c * 1000), Quality.GOOD, None))


async def told(node: Node, piece: str | None = None) -> dict[str, list[dict[str, object]]]:
    answer = await node.local.get("/api/v1/forecasts", params={"piece": piece} if piece else {})
    answer.raise_for_status()
    document: dict[str, list[dict[str, object]]] = answer.json()
    return document


async def test_wrap_and_pull_are_told_with_what_would_change_them(node: Node) -> None:
    await cook(node, 3.0)
    targets = (await told(node))["targets"]
    assert [row["target"] for row in targets] == ["wrap", "pull", "rest"]
    pull = targets[1]
    assert str(pull["p10"]) < str(pull["p50"]) < str(pull["p90"])
    assert pull["widened"]
    assert pull["own_cooks"] == 0
    what_if = pull["what_if"]
    assert isinstance(what_if, list)
    actions = {other["action"] for other in what_if}
    assert {"wrap in paper now", "pit up 10 C", "pit down 10 C"} <= actions
    hotter = next(other for other in what_if if other["action"] == "pit up 10 C")
    assert hotter["shift_s"] < 0
    assert "brings it forward by" in hotter["text"]


async def test_each_service_has_its_chance_and_advice_when_it_is_late(node: Node) -> None:
    await cook(node, 3.0, at="2026-09-21T18:00:00Z")
    service = (await told(node))["services"][0]
    assert service["place"] == "barn"
    assert service["verdict"] == "late"
    assert "brisket-1 decides" in str(service["advice"])
    assert "brings it forward" in str(service["advice"])


async def test_what_is_held_and_cooled_has_its_times(node: Node) -> None:
    await cook(node, 8.0)
    await node.local.post("/api/v1/stages", json={"piece": "brisket-1", "stage": "holding"})
    for minute in range(60):
        feed(node, 92.0 - 0.1 * minute)
    held = (await told(node))["holding"]
    await node.local.post("/api/v1/stages", json={"piece": "brisket-1", "stage": "cooling"})
    for minute in range(60):
        feed(node, 56.0 - 0.4 * minute)
    cooled = (await told(node))["cooling"]
    assert [(row["piece"], row["place"]) for row in held] == [("brisket-1", "box")]
    assert held[0]["p50"] is not None
    assert [row["to_c"] for row in cooled] == [21.11, 5.0]


async def test_a_piece_that_is_not_there_is_refused_with_the_nearest_name(node: Node) -> None:
    await cook(node, 0.1)
    answer = await node.local.get("/api/v1/forecasts", params={"piece": "brisket-2"})
    assert answer.status_code == 400
    assert "brisket-1" in answer.json()["error"]


async def test_without_a_cook_there_is_nothing_to_tell(node: Node) -> None:
    document = await told(node)
    assert not any(document[key] for key in ("targets", "services", "holding", "cooling"))


async def test_the_command_prints_what_the_api_tells(node: Node) -> None:
    await cook(node, 3.0)
    text = outlook_text(await told(node))
    assert "brisket-1: pull at 203 F about" in text
    assert "pit up 10 C: brings it forward by" in text
    assert "at barn: ready" in text


async def test_own_cooks_are_told_with_how_often_they_came_inside(node: Node) -> None:
    await cook(node, 9.0)
    await node.local.post("/api/v1/stages", json={"piece": "brisket-1", "stage": "resting"})
    (
        await node.local.post("/api/v1/cooks/finish", json={"confirm": "served or handed over"})
    ).raise_for_status()
    await node.daemon.forecasting.settled()
    assert outlook_text(await told(node)) == "Nothing is being cooked, held or cooled."
    await cook(node, 3.0)
    document = await told(node)
    assert document["own"]["moments"] == 3  # type: ignore[call-overload]
    assert document["targets"][1]["own_cooks"] == 1
    assert "of 3 moments of your own cooks" in outlook_text(document)


async def test_the_page_says_what_to_plan_on_and_why_it_moved(node: Node) -> None:
    await cook(node, 3.0)
    page = (await node.local.get("/ahead", params={"piece": "brisket-1"})).text
    assert re.search(r"Wrap brisket-1 about .*, likely between .* and [^;]*\.</p>", page)
    assert "because" not in page
    await node.local.post("/api/v1/stages", json={"piece": "brisket-1", "stage": "wrapped"})
    feed(node, 66.0)
    said = "moved by +40 min because the core rises more slowly (2.0 C an hour, 5.5 C before)"
    made = ForecastMade("brisket-1", "pull", 0.9, False, 0, reason=said)
    node.daemon.engine.state.foreseen["brisket-1/pull"] = made
    page = (await node.local.get("/ahead", params={"piece": "brisket-1"})).text
    plan = re.search(r"about .*, likely between .* and (.*); for serving plan on (.*)\.</p>", page)
    assert plan is not None
    assert plan[1] == plan[2]
    assert "Moved by +40 min because the core rises more slowly (4 F an hour, 10 F before)" in page


async def test_a_target_that_was_set_is_said_in_the_readers_unit(node: Node) -> None:
    shown = Shown(Units(), node.clock.engine_ms())
    assert _degrees("because the target is now 93 C", shown) == "because the target is now 199 F"
    assert _degrees("because the pit fell 10 C", shown) == "because the pit fell 18 F"
