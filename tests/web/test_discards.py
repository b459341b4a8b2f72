"""What is thrown away: not eaten, not served, a loss by its name in ledger, meal and food log."""

from __future__ import annotations

from typing import Any

import pytest

from pitlogger.engine.watch.enough import weighed_pieces
from pitlogger.model.quantities import show_mass
from pitlogger.reports.cook_record import load_record
from pitlogger.reports.cook_report import cook_report
from pitlogger.reports.food_log import food_log
from pitlogger.reports.html import html
from pitlogger.rules.messages import Units
from pitlogger.store.queries import Reader
from pitlogger.yields.books import from_book
from pitlogger.yields.ledger import accounts
from pitlogger.yields.meals import meals
from tests.web.conftest import Node
from tests.web.test_corrections import HOUR_MS, past, post

WHY = "dropped on the floor"


async def weigh(node: Node, checkpoint: str, mass: str) -> None:
    node.clock.advance(HOUR_MS)
    await post(node, "/weighings", piece="brisket-1", checkpoint=checkpoint, mass=mass)


async def discard(node: Node, mass: str, status: int = 200, **more: Any) -> dict[str, Any]:
    node.clock.advance(HOUR_MS)
    told = {"piece": "brisket-1", "stage": "discarded", "mass": mass, "reason": WHY, **more}
    answer = await node.local.post("/api/v1/stages", json=told)
    assert answer.status_code == status, answer.text
    document: dict[str, Any] = answer.json()
    return document


async def test_a_part_is_asked_about_and_the_rest_goes_on(node: Node) -> None:
    await node.begin()
    await weigh(node, "purchased", "6.4 kg")
    asked = await discard(node, "0.8 kg", 409)
    assert asked["options"] == ["the rest goes on", "all of it is gone"]
    made = await discard(node, "0.8 kg", confirm="the rest goes on", key="once")
    assert (made["kind"], made["gross_mg"], made["reason"]) == ("weighed", 800_000, WHY)
    assert (await discard(node, "0.8 kg", key="once"))["id"] == made["id"]
    await post(node, "/stages", piece="brisket-1", stage="smoking")
    await weigh(node, "rested", "3 kg")
    (one,) = accounts(from_book(node.daemon.engine.book))
    assert {name: round(mass.value) for name, mass in one.losses_g.items()} == {
        "trim+cook+rest": 2600, "discarded": 800,
    }  # fmt: skip
    assert not one.record.teaches
    assert one.record.discarded_why == WHY


@pytest.mark.parametrize(
    ("stages", "mass", "status"),
    [((), "5.8 kg", 200), (("smoking",), "5.5 kg", 200), (("smoking", "resting"), "3 kg", 200),
     (("smoking", "resting"), "2 kg", 409), (("smoking",), "2 kg", 409)],
)  # fmt: skip
async def test_what_a_whole_piece_may_weigh_by_then_is_not_asked_about(
    node: Node, stages: tuple[str, ...], mass: str, status: int
) -> None:
    await node.begin()
    await weigh(node, "purchased", "6.4 kg")
    for stage in stages:
        await post(node, "/stages", piece="brisket-1", stage=stage)
        node.clock.advance(9 * HOUR_MS)
    await discard(node, mass, status)


async def test_what_fell_after_it_was_carved_is_neither_eaten_nor_short_of_the_yield(
    node: Node,
) -> None:
    await node.begin()
    await weigh(node, "purchased", "6.4 kg")
    await weigh(node, "carved", "3.1 kg")
    await discard(node, "0.5 kg", confirm="the rest goes on")
    (left,) = weighed_pieces(node.daemon.engine.book)
    assert left.masses["carved"].value == pytest.approx(2600)
    await post(node, "/cooks/finish", confirm="served or handed over")
    await post(node, "/meals", came=20, left="0.2 kg")
    record = await loaded(node)
    (one,) = record.accounts
    assert one.servable_yield is not None
    assert one.servable_yield.value == pytest.approx(3.1 / 6.4)
    assert one.losses_g["discarded"].value == pytest.approx(500)
    assert one.record.teaches
    (meal,) = meals(await past(node))
    assert meal.eaten_per_guest_g == pytest.approx((3100 - 500 - 200) / 20)


async def loaded(node: Node) -> Any:
    await node.daemon.flushed()

    def read(reader: Reader) -> Any:
        return load_record(reader, None, node.daemon.safety, Units("C", "kg"))

    return await node.daemon.ask(read)


async def test_report_and_food_log_say_mass_and_cause(node: Node) -> None:
    await node.begin()
    await weigh(node, "purchased", "6.4 kg")
    await weigh(node, "carved", "3.1 kg")
    await discard(node, "0.5 kg", confirm="the rest goes on")
    await discard(node, "2.6 kg", reason="stood too long", confirm="all of it is gone")
    await post(node, "/cooks/finish")
    record = await loaded(node)
    shown = show_mass(500_000, "kg")
    assert f"({WHY}; stood too long)" in html(cook_report(record))
    log = html(food_log(record))
    assert all(one in log for one in (WHY, "stood too long", shown, show_mass(2_600_000, "kg")))
    told = (await node.local.get("/api/v1/yield")).json()
    (piece,) = told["pieces"]
    assert piece["loss_by_cause_g"]["discarded"] == pytest.approx(3100)
    assert (piece["servable_g"], piece["discarded_why"]) == (None, f"{WHY}; stood too long")
    await post(node, "/meals", came=20)
    (meal,) = meals(await past(node))
    assert meal.eaten_per_guest_g is None


async def test_a_weighing_after_all_of_it_was_discarded_is_asked_about(node: Node) -> None:
    await node.begin()
    await weigh(node, "purchased", "6.4 kg")
    await discard(node, "6.4 kg")
    node.clock.advance(HOUR_MS)
    said = {"piece": "brisket-1", "checkpoint": "carved", "mass": "3 kg"}
    answer = await node.local.post("/api/v1/weighings", json=said)
    assert answer.status_code == 409
    assert "discarded before that" in answer.json()["question"]


async def test_a_part_that_was_thrown_away_is_taken_back(node: Node) -> None:
    await node.begin()
    await weigh(node, "purchased", "6.4 kg")
    made = await discard(node, "0.8 kg", confirm="the rest goes on")
    await post(node, "/undo", entry=made["id"])
    (one,) = accounts(from_book(node.daemon.engine.book))
    assert one.losses_g == {}
    assert one.record.teaches
