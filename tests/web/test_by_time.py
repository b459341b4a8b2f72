"""Holding food by time: what is refused, what is asked first, where its clock is shown."""

from __future__ import annotations

from typing import Any

import pytest

from pitlogger.clock import rfc3339
from tests.web.conftest import Node
from tests.web.test_corrections import HOUR_MS, post

MARKED = "yes, it is marked"


async def sliced(node: Node, core: str = "140F") -> None:
    """Put a brisket on the buffet, its core read by hand just now."""
    await node.begin()
    await post(node, "/stages", piece="brisket-1", stage="smoking")
    node.clock.advance(11 * HOUR_MS)
    await post(node, "/stages", piece="brisket-1", stage="serving")
    await post(node, "/temps", piece="brisket-1", value=core)


async def piece(node: Node) -> dict[str, Any]:
    standing = (await node.local.get("/api/v1/status")).json()
    found: dict[str, Any] = next(one for one in standing["pieces"] if one["piece"] == "brisket-1")
    return found


async def test_it_is_asked_first_and_nothing_is_written(node: Node) -> None:
    await sliced(node)
    before = node.daemon.engine.state.seq
    asked = await post(node, "/time-controls", 409, piece="brisket-1")
    assert asked["options"] == [MARKED]
    for word in ("written procedure", "thrown away", "marked on it", "highly susceptible"):
        assert word in asked["question"]
    assert node.daemon.engine.state.seq == before
    assert (await piece(node))["held_by_time"] is None
    kept = await post(node, "/time-controls", piece="brisket-1", confirm=asked["confirm"])
    assert (kept["kind"], kept["hours"]) == ("held-by-time", 4)
    shown = (await piece(node))["held_by_time"]
    assert shown["remaining_s"] == pytest.approx(4 * 3600, abs=5)
    again = await post(node, "/time-controls", 409, piece="brisket-1", confirm=MARKED)
    assert "already" in again["error"]


async def test_neither_cold_nor_hot_is_refused(node: Node) -> None:
    await sliced(node, "140F")
    for core, hours, why in (
        ("140F", 6, "41 F or below"), ("120F", 4, "120.0 F at its start"), ("45F", 4, "45.0 F"),
    ):  # fmt: skip
        node.clock.advance(HOUR_MS)
        await post(node, "/temps", piece="brisket-1", value=core)
        told = await post(
            node, "/time-controls", 409, piece="brisket-1", hours=hours, confirm=MARKED
        )
        assert why in told["error"]
        assert "question" not in told


async def test_a_core_that_nobody_read_is_read_first(node: Node) -> None:
    await sliced(node)
    node.clock.advance(HOUR_MS)
    told = await post(node, "/time-controls", 409, piece="brisket-1", confirm=MARKED)
    assert "by hand first" in told["error"]
    await post(node, "/temps", piece="brisket-1", value="139F")
    await post(node, "/time-controls", piece="brisket-1", confirm=MARKED)


async def test_what_cannot_be_used_is_said(node: Node) -> None:
    await sliced(node)
    for body in ({"piece": "nothing"}, {"hours": 5}, {"at": "2033-01-01T00:00:00Z"}, {"min": 3}):
        asked = {"piece": "brisket-1", "confirm": MARKED, **body}
        answer = await node.local.post("/api/v1/time-controls", json=asked)
        assert answer.status_code in (400, 422)


async def test_entered_late_it_counts_from_when_it_was_marked(node: Node) -> None:
    await sliced(node)
    at = rfc3339(node.daemon.clock.engine_ms() + node.daemon.utc_offset_ms)
    node.clock.advance(HOUR_MS)
    await post(node, "/time-controls", piece="brisket-1", at=at, confirm=MARKED)
    left_s = (await piece(node))["held_by_time"]["remaining_s"]
    assert left_s == pytest.approx(3 * 3600, abs=5)


async def test_chilling_it_is_asked_about_and_served_ends_its_time(node: Node) -> None:
    await sliced(node)
    await post(node, "/time-controls", piece="brisket-1", confirm=MARKED)
    node.clock.advance(HOUR_MS)
    asked = await post(node, "/stages", 409, piece="brisket-1", stage="chilled")
    assert "thrown away" in asked["question"]
    await post(node, "/stages", piece="brisket-1", stage="served")
    assert (await piece(node))["held_by_time"]["remaining_s"] is None


async def test_the_page_shows_its_discard_time_and_begins_it(node: Node) -> None:
    await sliced(node)
    headers = node.cookie()
    page = (await node.network.get("/piece/brisket-1", headers=headers)).text
    assert "/do/hold-by-time" in page
    form = {"piece": "brisket-1", "hours": "4", "key": "k1", "confirm": MARKED}
    answer = await node.network.post(
        "/do/hold-by-time", data=form, headers=headers | {"Accept": "application/json"}
    )
    assert answer.status_code == 200, answer.text
    assert "held by time" in answer.json()["said"]
    assert answer.json()["undo"]
    for path in ("/", "/piece/brisket-1"):
        page = (await node.network.get(path, headers=headers)).text
        assert "discard at" in page
    assert "/do/hold-by-time" not in page


async def begun_at_wrong_time(node: Node) -> tuple[str, int]:
    """Hold a piece by time, said an hour late; return its entry and when it was."""
    await sliced(node)
    begun_ms = node.daemon.clock.engine_ms() + node.daemon.utc_offset_ms
    await post(node, "/temps", piece="brisket-1", value="140F")
    node.clock.advance(HOUR_MS)
    await post(node, "/temps", piece="brisket-1", value="139F")
    kept = await post(node, "/time-controls", piece="brisket-1", confirm=MARKED)
    return kept["id"], begun_ms


async def test_a_wrong_time_is_corrected_and_asked_about_again(node: Node) -> None:
    entry, begun_ms = await begun_at_wrong_time(node)
    at = rfc3339(begun_ms)
    asked = await post(node, "/corrections", 409, entry=entry, at=at)
    assert "marked on it" in asked["question"]
    assert (await piece(node))["held_by_time"]["remaining_s"] == pytest.approx(4 * 3600, abs=5)
    await post(node, "/corrections", entry=entry, at=at, confirm=MARKED)
    assert (await piece(node))["held_by_time"]["remaining_s"] == pytest.approx(3 * 3600, abs=5)
    await post(node, "/undo", entry=entry)
    assert (await piece(node))["held_by_time"] is None


async def test_what_no_time_control_begins_like_is_no_correction_of_one(node: Node) -> None:
    entry, begun_ms = await begun_at_wrong_time(node)
    for given, why in (
        ({"hours": 6}, "41 F or below"),
        ({"at": rfc3339(begun_ms - 5 * HOUR_MS)}, "smoking"),
        ({"at": "2033-01-01T00:00:00Z"}, "future"),
        ({"value": "140F"}, "expected"),
    ):
        ask = {"entry": entry, "confirm": MARKED, **given}
        answer = await node.local.post("/api/v1/corrections", json=ask)
        assert answer.status_code in (400, 409), given
        assert why in answer.json()["error"], answer.json()
        assert "question" not in answer.json()
    assert (await piece(node))["held_by_time"]["remaining_s"] == pytest.approx(4 * 3600, abs=5)
