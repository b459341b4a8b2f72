"""Putting right what was entered wrong: any entry of any cook, by its short id, append-only."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pitlogger.engine.inputs import Command
from pitlogger.model.entry_ids import parse_short_id
from pitlogger.model.folding import fold
from pitlogger.model.journal import ForecastScored, LocalScore
from pitlogger.node.forecasting import taught_by
from pitlogger.store.queries import Reader
from pitlogger.web.past_entries import past_entries
from pitlogger.yields.books import from_books
from pitlogger.yields.records import PastPiece
from tests.web.conftest import COOK, Node, make_node

HOUR_MS = 3_600_000


async def post(node: Node, path: str, status: int = 200, **body: Any) -> dict[str, Any]:
    answer = await node.local.post(f"/api/v1{path}", json=body)
    assert answer.status_code == status, answer.text
    document: dict[str, Any] = answer.json()
    return document


async def cooked(node: Node, name: str = "supper", carved: str = "3.1 kg") -> dict[str, Any]:
    """Cook a brisket from purchase to plate and return its entries by checkpoint."""
    await post(node, "/cooks", toml=COOK.replace('"supper"', f'"{name}"'))
    made = {}
    for checkpoint, mass in (("purchased", "6.4 kg"), ("carved", carved)):
        node.clock.advance(5 * HOUR_MS)
        made[checkpoint] = await post(
            node, "/weighings", piece="brisket-1", checkpoint=checkpoint, mass=mass, by="AB"
        )
    node.clock.advance(HOUR_MS)
    await post(node, "/cooks/finish", confirm="served or handed over")
    return made


async def past(node: Node) -> list[PastPiece]:
    await node.daemon.flushed()

    def read(reader: Reader) -> list[PastPiece]:
        return list(from_books(fold(rows) for _, rows in past_entries(reader)).pieces())

    found: list[PastPiece] = await node.daemon.ask(read)
    return found


async def carved_g(node: Node) -> list[float]:
    return [piece.masses["carved"].value for piece in await past(node)]


async def test_a_weight_of_a_past_cook_is_corrected_next_week_and_both_stay_on_record(
    node: Node,
) -> None:
    made = await cooked(node, carved="3.6 kg")
    await cooked(node, "second")
    node.clock.advance(7 * 24 * HOUR_MS)
    wrong = made["carved"]["id"]
    entry = await post(
        node, "/corrections", entry=wrong, mass="3.1 kg", reason="pan was on", by="CD"
    )
    assert await carved_g(node) == [3100.0, 3100.0]
    shown = (await node.local.get(f"/api/v1/entries/{wrong}")).json()
    assert shown["gross_mg"] == 3_600_000
    assert (entry["by"], entry["reason"]) == ("CD", "pan was on")
    journal = (await node.local.get("/api/v1/journal", params={"cook": "supper"})).json()
    assert [row["id"] for row in journal][-1] == entry["id"]
    assert journal[-1]["kind"] == "corrected"


async def test_undo_of_an_undo_brings_an_entry_back(node: Node) -> None:
    made = await cooked(node)
    undone = await post(node, "/undo", entry=made["carved"]["id"], reason="other brisket")
    assert "carved" not in (await past(node))[0].masses
    await post(node, "/undo", 409, entry=made["carved"]["id"])
    await post(node, "/undo", entry=undone["id"])
    assert await carved_g(node) == [3100.0]


async def test_a_correction_of_a_correction_keeps_what_it_does_not_name(node: Node) -> None:
    made = await cooked(node, carved="3.6 kg")
    first = await post(node, "/corrections", entry=made["carved"]["id"], mass="3.1 kg")
    second = await post(node, "/corrections", entry=first["id"], checkpoint="rested")
    assert second["of_seq"] == made["carved"]["seq"]
    (piece,) = await past(node)
    assert piece.masses["rested"].value == 3100.0


async def test_an_id_is_the_same_after_a_restart_and_never_names_another_entry(
    node: Node,
) -> None:
    made = await cooked(node)
    tag, seq = parse_short_id(made["carved"]["id"]) or ("", 0)
    assert node.daemon.run.startswith(tag)
    assert (seq, made["carved"]["run"]) == (made["carved"]["seq"], node.daemon.run)


async def test_after_restarts_without_a_snapshot_an_id_still_takes_back_its_own_entry(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Reader, "snapshot", lambda *_: None)  # as after an upgrade in mid-cook
    made: list[dict[str, Any]] = []
    for mass in ("6.4 kg", "6.5 kg", "6.6 kg"):  # each typed in a run of its own
        async with make_node(tmp_path) as node:
            node.clock.advance(len(made) * HOUR_MS)
            if not made:
                await node.begin()
            made.append(await post(node, "/notes", text="looked at"))
            made.append(
                await post(node, "/weighings", piece="brisket-1", checkpoint="purchased", mass=mass)
            )
    async with make_node(tmp_path) as node:
        node.clock.advance(9 * HOUR_MS)
        for entry in reversed(made):
            undone = await post(node, "/undo", entry=entry["id"])
            assert (undone["of_run"], undone["of_seq"]) == (entry["run"], entry["seq"])
            assert undone["run"] == node.daemon.run
        left = [one.text for _, one in node.daemon.engine.book.notes]
        assert left == []
        assert node.daemon.engine.book.pieces["brisket-1"].weighings == []


async def test_a_bare_number_of_one_cook_is_taken_and_of_none_refused(node: Node) -> None:
    made = await cooked(node, carved="3.6 kg")
    await post(node, "/corrections", entry=str(made["carved"]["seq"]), cook="supper", mass="3 kg")
    assert await carved_g(node) == [3000.0]
    refused = await post(node, "/corrections", 400, entry="999", cook="supper", mass="3 kg")
    assert "no entry 999" in refused["error"]


@pytest.mark.parametrize("text", ["zzzz-1", "k7qm", "", "; drop", "a/b/c", "-1", "k7qm-0"])
async def test_what_names_no_entry_is_refused_in_one_line(node: Node, text: str) -> None:
    await cooked(node)
    refused = await post(node, "/corrections", 400, entry=text, mass="3 kg")
    assert "\n" not in refused["error"]


async def test_two_cooks_of_one_name_are_asked_about(node: Node) -> None:
    await cooked(node)
    await cooked(node)
    asked = await post(node, "/undo", 409, cook="supper")
    assert set(asked) == {"question", "options", "confirm"}
    assert len(asked["options"]) == 2
    before = await carved_g(node)
    assert len(before) == 2
    assert asked["confirm"] in asked["options"]
    await post(node, "/undo", entry=None, cook="supper", confirm=asked["options"][1])


async def test_an_entry_a_piece_and_a_cook_are_excluded_with_a_reason_and_included_again(
    node: Node,
) -> None:
    made = await cooked(node)
    for about in (
        {"entry": made["carved"]["id"]},
        {"piece": "brisket-1", "cook": "supper"},
        {"cook": "supper"},
    ):
        await post(node, "/learning", teaches=False, reason="dropped half of it", **about)
        assert [piece.teaches for piece in await past(node)] == [False]
        await post(node, "/learning", teaches=True, reason="it was found", **about)
        assert [piece.teaches for piece in await past(node)] == [True]
    await post(node, "/learning", 400, teaches=False, cook="supper")
    await post(node, "/learning", 400, teaches=False, cook="supper", piece="none", reason="x")
    await node.begin()
    asked = await post(node, "/learning", 409, teaches=False, reason="a trial")
    assert asked["options"] == ["all of it"]


async def test_a_cook_withdrawn_leaves_lists_and_learning_and_comes_back(node: Node) -> None:
    await cooked(node)
    await cooked(node, "twice")
    withdrawn = await post(node, "/cooks/withdraw", cook="twice", reason="typed twice")
    assert len(await past(node)) == 1
    listed = (await node.local.get("/api/v1/cooks")).json()
    assert [row["name"] for row in listed] == ["supper"]
    every = (await node.local.get("/api/v1/cooks", params={"withdrawn": True})).json()
    assert {row["name"]: row["withdrawn"] for row in every} == {"supper": False, "twice": True}
    await post(node, "/undo", entry=withdrawn["id"])
    assert len(await past(node)) == 2


async def test_a_withdrawn_cook_is_found_by_its_name_and_included_again(node: Node) -> None:
    await cooked(node, "twice")
    await post(node, "/cooks/withdraw", cook="twice", reason="typed twice")
    journal = await node.local.get("/api/v1/journal", params={"cook": "twice"})
    assert journal.json()[-1]["kind"] == "cook-withdrawn"
    for path, body in (
        ("/weighings", {"piece": "brisket-1", "checkpoint": "rested", "mass": "3.2 kg"}),
        ("/meals", {"came": 12}), ("/cooks/withdraw", {"reason": "once more"}),
        ("/learning", {"teaches": False, "reason": "a trial"}),
    ):  # fmt: skip
        refused = await post(node, path, 409, cook="twice", **body)
        assert "was withdrawn (typed twice)" in refused["error"]
    assert (await post(node, "/undo", cook="twice"))["kind"] == "undone"
    await post(node, "/cooks/withdraw", cook="twice", reason="typed twice")
    key: dict[str, Any] = {"teaches": True, "cook": "twice", "reason": "it was", "key": "tapped"}
    made = [await post(node, "/learning", **key) for _ in range(2)]
    assert made[0]["id"] == made[1]["id"]
    rows = (await node.local.get("/api/v1/cooks")).json()
    assert [row["name"] for row in rows] == ["twice"]
    assert await carved_g(node) == [3100.0]


async def test_a_withdrawn_cook_stands_back_behind_another_of_its_name(node: Node) -> None:
    await cooked(node, "supper")
    await post(node, "/cooks/withdraw", cook="supper", reason="typed twice")
    await cooked(node, "supper")
    await post(node, "/undo", cook="supper", reason="that weight was wrong")
    rows = (await node.local.get("/api/v1/cooks", params={"withdrawn": True})).json()
    assert [row["withdrawn"] for row in rows] == [False, True]


async def test_a_forgotten_weight_joins_a_finished_cook_without_a_time(node: Node) -> None:
    await cooked(node)
    kept = await post(
        node, "/weighings", cook="supper", piece="brisket-1", checkpoint="rested", mass="3.4 kg"
    )
    assert kept["timed"] == "unrecorded"
    (piece,) = await past(node)
    assert piece.masses["rested"].value == 3400.0
    assert node.daemon.engine.book.finished_ms is not None


async def test_what_is_said_later_moves_neither_the_end_of_a_cook_nor_its_readings(
    node: Node,
) -> None:
    made = await cooked(node)
    before = (await node.local.get("/api/v1/log", params={"cook": "supper"})).json()
    node.clock.advance(30 * 24 * HOUR_MS)
    await post(node, "/corrections", entry=made["carved"]["id"], mass="3.2 kg")
    after = (await node.local.get("/api/v1/log", params={"cook": "supper"})).json()
    assert after["faults"] == []
    assert after["entries"] == before["entries"] + 1
    export = (await node.local.get("/api/v1/export", params={"cook": "supper"})).text
    assert export.count("corrected") == 1


async def test_the_end_of_a_cook_is_taken_back_by_its_entry_until_the_next_begins(
    node: Node,
) -> None:
    await cooked(node)
    journal = (await node.local.get("/api/v1/journal")).json()
    finish = next(row["id"] for row in reversed(journal) if row["kind"] == "cook-finished")
    await post(node, "/undo", entry=finish)
    assert len(node.daemon.cooks) == 1
    again = await post(node, "/cooks/finish")
    await cooked(node)
    refused = await post(node, "/undo", 409, entry=again["id"])
    assert "over for good" in refused["error"]
    cooks = (await node.local.get("/api/v1/cooks")).json()
    assert all(row["finished"] for row in cooks)


async def test_the_last_decision_of_a_finished_cook_is_never_its_end(node: Node) -> None:
    made = await cooked(node, carved="3.6 kg")
    undone = await post(node, "/undo", cook="supper")
    assert undone["of_seq"] == made["carved"]["seq"]


async def test_a_piece_excluded_from_learning_teaches_the_forecasts_nothing(node: Node) -> None:
    await cooked(node)
    await node.daemon.flushed()
    cook = (await node.local.get("/api/v1/cooks")).json()[0]["cook"]
    scored = ForecastScored(
        (LocalScore(cook, "brisket", 0.4, "brisket-1"), LocalScore(cook, "brisket", -0.2, "other"))
    )
    node.daemon.feed(Command(node.clock.engine_ms(), scored))
    await node.daemon.flushed()
    assert len((await node.daemon.ask(taught_by))[cook]) == 2
    made = await post(
        node, "/learning", cook=cook, piece="brisket-1", teaches=False, reason="dropped half"
    )
    await node.daemon.flushed()
    assert [one.piece for one in (await node.daemon.ask(taught_by))[cook]] == ["other"]
    await post(node, "/undo", entry=made["id"])
    await node.daemon.flushed()
    assert len((await node.daemon.ask(taught_by))[cook]) == 2


async def test_a_field_that_the_entry_does_not_hold_is_refused_and_not_passed_over(
    node: Node,
) -> None:
    await node.begin()
    told = {"piece": "brisket-1", "checkpoint": "purchased", "mass": "6.4 kg"}
    entry = (await node.local.post("/api/v1/weighings", json=told)).json()["id"]
    ask = {"entry": entry, "mass": "6.2 kg", "value": "203F", "reason": "both"}
    answer = await node.local.post("/api/v1/corrections", json=ask)
    assert answer.status_code == 400
    assert "(weighed) has no --temp: expected --mass, --tare" in answer.json()["error"]
    (held,) = node.daemon.engine.book.pieces["brisket-1"].weighings
    assert held.weighed.net_mg == 6_400_000


async def test_a_meal_told_of_the_wrong_cook_is_taken_back_by_its_id(node: Node) -> None:
    await cooked(node, "supper")
    first = await post(node, "/meals", cook="supper", came=18)
    wrong = await post(node, "/meals", cook="supper", came=30, left="300 g")
    journal = (await node.local.get("/api/v1/journal", params={"cook": "supper"})).json()
    assert [row["id"] for row in journal[-2:]] == [first["id"], wrong["id"]]
    undone = await post(node, "/undo", entry=wrong["id"], reason="it was the other event")
    assert {piece.came for piece in await past(node)} == {18}
    await post(node, "/undo", 409, entry=wrong["id"])
    await post(node, "/undo", entry=undone["id"])  # it was this one after all
    assert {piece.came for piece in await past(node)} == {30}
    await post(node, "/learning", 400, entry=wrong["id"], teaches=False, reason="x")
    for entry in (wrong, first):
        await post(node, "/undo", entry=entry["id"])
    assert {piece.came for piece in await past(node)} == {None}


async def test_the_last_decision_is_the_meal_where_the_meal_was_told_last(node: Node) -> None:
    await cooked(node, "supper")
    told = await post(node, "/meals", cook="supper", came=18)
    undone = await post(node, "/undo")
    assert (undone["of_run"], undone["of_seq"]) == (told["run"], told["seq"])
    assert {piece.came for piece in await past(node)} == {None}
    again = await post(node, "/undo")
    assert (again["of_run"], again["of_seq"]) != (told["run"], told["seq"]), "what was before it"
