"""After the meal, through the API: told late, told again, and what the next plan makes of it."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from typing import Any

import pytest

from pitlogger.bootstrap.cooks import past_run
from pitlogger.cli.records.meal import _text as meal_text
from pitlogger.errors import RefusedError
from pitlogger.formats.journal_json import dump_body
from pitlogger.formats.paper_journal import cooks_of
from pitlogger.formats.paper_log import parse_paper_log
from pitlogger.model.book import Book
from pitlogger.model.folding import fold
from pitlogger.store.queries import Reader
from pitlogger.store.rows import JournalRow
from pitlogger.web.past_entries import past_entries
from pitlogger.yields.books import from_books
from pitlogger.yields.meals import meals
from tests.web.conftest import Node

MASSES = {"purchased": "6.4 kg", "carved": "3.1 kg"}


async def finished(node: Node) -> None:
    """Cook a brisket, weigh it and finish."""
    await node.begin()
    for checkpoint, mass in MASSES.items():
        body = {"piece": "brisket-1", "checkpoint": checkpoint, "mass": mass}
        (await node.local.post("/api/v1/weighings", json=body)).raise_for_status()
    (await node.local.post("/api/v1/cooks/finish", json={})).raise_for_status()


async def past(node: Node) -> list[Book]:
    def read(reader: Reader) -> list[Book]:
        return [fold(entries) for _, entries in past_entries(reader)]

    found: list[Book] = await node.daemon.ask(read)
    return found


async def tell(node: Node, **told: Any) -> Any:
    answer = await node.local.post("/api/v1/meals", json=told)
    answer.raise_for_status()
    return answer.json()


async def test_a_meal_is_told_after_its_cook_and_reaches_what_is_learned(node: Node) -> None:
    await finished(node)
    entry = await tell(node, came=18, left="310 g", tender=4, text="beans ran out", by="AB")
    assert entry["tender"] == [{"piece": "brisket-1", "mark": 4}]
    history = from_books(await past(node)).pieces()
    assert [(p.came, p.left_g, p.tender) for p in history] == [(18, 310.0, 4)]
    assert meals(history)[0].eaten_per_guest_g == pytest.approx((3100 - 310) / 18)


async def test_the_answer_names_the_cook_and_what_nobody_ate(node: Node) -> None:
    await node.begin()
    told = {"piece": "brisket-1", "checkpoint": "purchased", "mass": "6.4 kg"}
    (await node.local.post("/api/v1/weighings", json=told)).raise_for_status()
    told = {"piece": "brisket-1", "stage": "discarded", "mass": "0.8 kg", "reason": "it fell"}
    told |= {"confirm": "the rest goes on"}
    (await node.local.post("/api/v1/stages", json=told)).raise_for_status()
    entry = await tell(node, came=18)
    cook = node.daemon.engine.book.cook
    assert cook is not None
    assert entry["cook_name"] == cook.name
    thrown = {"piece": "brisket-1", "mass_g": 800.0, "why": "it fell"}
    assert entry["discarded"] == [thrown]
    said = meal_text(entry, "kg")
    assert said.startswith(f"{entry['cook_name']}: 18 came, ")
    assert "0.800 kg of brisket-1 discarded (it fell)" in said


async def test_what_is_told_again_counts_and_the_rest_stays(node: Node) -> None:
    await finished(node)
    await tell(node, came=18, tender=4)
    await tell(node, came=19, left="0 g")
    (book,) = await past(node)
    assert book.meal is not None
    assert (book.meal.came, book.meal.left_mg) == (19, 0)
    assert [(told.piece, told.mark) for told in book.meal.tender] == [("brisket-1", 4)]
    entries = await node.daemon.ask(lambda reader: reader.entries(kinds=("meal-told",)))
    assert len(entries) == 2


async def test_a_meal_told_while_the_next_cook_runs_stays_with_its_own(node: Node) -> None:
    await finished(node)
    node.clock.advance(24 * 3_600_000)
    await node.begin()
    (first, second) = (await node.local.get("/api/v1/cooks")).json()[::-1]
    await tell(node, cook=first["cook"], came=17)
    told, running = await past(node)
    assert told.meal is not None
    assert told.meal.came == 17
    assert running.meal is None
    assert second["cook"] != first["cook"]


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({}, "nothing told"),
        ({"tender": {"brisket-9": 3}}, "brisket-1"),
        ({"tender": 6}, "5"),
        ({"came": -1}, "0"),
        ({"left": "3"}, "unit"),
        ({"cook": "no such", "came": 3}, "cook"),
    ],
)
async def test_what_cannot_be_used_is_refused_and_nothing_is_kept(
    node: Node, told: dict[str, Any], said: str
) -> None:
    await finished(node)
    answer = await node.local.post("/api/v1/meals", json=told)
    assert answer.status_code in (400, 422)
    assert said in answer.text
    assert not await node.daemon.ask(lambda reader: reader.entries(kinds=("meal-told",)))


def paper(rows: int) -> Any:
    lines = ["cook,cut,guests,came,left_kg,tender,purchased_kg,carved_kg"]
    lines += [f"c{k},brisket-packer,40,36,0.5,4,6.4,{3 + k / 1000}" for k in range(rows)]
    cooks = cooks_of(parse_paper_log("\n".join(lines).encode()).all_rows())
    return [
        {
            "name": cook.name,
            "start_ms": cook.start_ms,
            "bodies": [{"t_ms": t_ms, "body": dump_body(body)} for t_ms, body in cook.bodies],
        }
        for cook in cooks
    ]


async def test_a_long_paper_log_comes_in_whole_with_its_meals(node: Node) -> None:
    answer = await node.local.post("/api/v1/record", json={"cooks": paper(60)})
    answer.raise_for_status()
    history = from_books(await past(node)).pieces()
    assert len(history) == 60
    assert {(p.guests, p.came, p.left_g, p.tender) for p in history} == {(40, 36, 500.0, 4)}


async def test_a_paper_log_with_one_bad_cook_leaves_nothing_behind(node: Node) -> None:
    cooks = paper(30)
    cooks[29]["bodies"][1]["body"]["gross_mg"] = "heavy"
    answer = await node.local.post("/api/v1/record", json={"cooks": cooks})
    assert answer.status_code in (400, 422)
    assert await past(node) == []


async def test_a_store_that_refuses_the_last_cook_keeps_none_of_them(node: Node) -> None:
    log = b"cook,cut,purchased,carved\na,tri-tip,1 kg,0.8 kg\nb,tri-tip,1 kg,0.8 kg"
    runs = [past_run(cook, "node") for cook in cooks_of(parse_paper_log(log).all_rows())]
    (first, first_rows), (second, second_rows) = runs
    other = JournalRow.of(replace(second_rows[0].entry, by="somebody else"))
    writing = node.daemon.store.add_runs([(first, first_rows), (second, [*second_rows, other])])
    with pytest.raises(RefusedError, match="says something else"):
        await asyncio.wrap_future(writing)
    assert await past(node) == []
