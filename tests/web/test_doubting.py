"""What is hardly possible is asked about at once, and teaches nothing until it is confirmed."""

from __future__ import annotations

from typing import Any

import pytest

from pitlogger.clock import rfc3339
from pitlogger.model.folding import fold
from pitlogger.store.queries import Reader
from pitlogger.web.past_entries import past_entries
from pitlogger.yields.learned.durations import observed_hours
from tests.web.conftest import COOK, Node
from tests.web.test_corrections import HOUR_MS, cooked, past, post

TYPED: dict[str, Any] = {"piece": "brisket-1", "checkpoint": "purchased", "mass": "131 lb"}


async def test_131_lb_is_asked_about_and_nothing_is_written(node: Node) -> None:
    await node.begin()
    before = node.daemon.engine.state.seq
    asked = await post(node, "/weighings", 409, **TYPED)
    assert asked == {
        "question": "131 lb is 10 times what a whole brisket weighs: 13.1 lb?",
        "options": ["13.1 lb", "131 lb"],
        "confirm": "131 lb",
    }
    assert node.daemon.engine.state.seq == before
    kept = await post(node, "/weighings", **TYPED, confirm="13.1 lb")
    assert round(kept["net_g"]) == round(13.1 * 453.59237)
    assert "confirmed" not in kept


async def test_what_is_confirmed_is_done_as_written(node: Node) -> None:
    await node.begin()
    asked = await post(node, "/weighings", 409, **TYPED)
    kept = await post(node, "/weighings", **TYPED, confirm=asked["confirm"])
    assert (round(kept["net_g"]), kept["confirmed"]) == (round(131 * 453.59237), True)


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/weighings", {"checkpoint": "purchased", "mass": "1300 lb"}),
        ("/weighings", {"checkpoint": "purchased", "mass": "0 oz"}),
        ("/weighings", {"checkpoint": "purchased", "mass": "13 oz"}),
        ("/temps", {"value": "1500F"}),
        ("/temps", {"value": "-100F"}),
    ],
)
async def test_other_slips_are_asked_about_too(node: Node, path: str, body: dict[str, Any]) -> None:
    await node.begin()
    asked = await post(node, path, 409, piece="brisket-1", **body)
    await post(node, path, piece="brisket-1", **body, confirm=asked["confirm"])


async def test_carved_above_rested_and_a_share_that_cannot_be(node: Node) -> None:
    await node.begin()
    for checkpoint, mass in (("purchased", "6.4 kg"), ("rested", "3.4 kg")):
        await post(node, "/weighings", piece="brisket-1", checkpoint=checkpoint, mass=mass)
    for mass in ("4.3 kg", "0.4 kg"):
        await post(node, "/weighings", 409, piece="brisket-1", checkpoint="carved", mass=mass)
    await post(node, "/weighings", piece="brisket-1", checkpoint="carved", mass="3.1 kg")


async def test_a_correction_is_asked_about_like_what_it_corrects(node: Node) -> None:
    made = await cooked(node)
    asked = await post(node, "/corrections", 409, entry=made["purchased"]["id"], mass="64 kg")
    await post(
        node,
        "/corrections",
        entry=made["purchased"]["id"],
        mass="64 kg",
        confirm=asked["options"][0],
    )
    (piece,) = await past(node)
    assert piece.masses["purchased"].value == pytest.approx(6400, rel=0.01)


async def hours(node: Node) -> dict[tuple[str, str], list[float]]:
    await node.daemon.flushed()

    def read(reader: Reader) -> dict[tuple[str, str], list[float]]:
        return observed_hours(fold(rows) for _, rows in past_entries(reader))

    found: dict[tuple[str, str], list[float]] = await node.daemon.ask(read)
    return found


async def test_a_cook_typed_in_within_a_minute_teaches_no_time(node: Node) -> None:
    await node.begin()
    for stage in ("smoking", "wrapped"):
        node.clock.advance(5_000)
        await post(node, "/stages", piece="brisket-1", stage=stage)
    node.clock.advance(5_000)
    asked = await post(node, "/stages", 409, piece="brisket-1", stage="resting")
    assert asked["options"][0] == "time not recorded"
    await post(node, "/stages", piece="brisket-1", stage="resting", confirm="time not recorded")
    await post(node, "/cooks/finish", confirm="served or handed over")
    assert await hours(node) == {}


async def test_a_piece_taken_off_days_later_is_asked_about_and_teaches_no_time(node: Node) -> None:
    await node.begin()
    await post(node, "/stages", piece="brisket-1", stage="smoking")
    node.clock.advance(40 * HOUR_MS)
    asked = await post(node, "/stages", 409, piece="brisket-1", stage="carved")
    assert "40 h" in asked["question"]
    assert asked["options"] == ["time not recorded", "it was that long"]
    await post(node, "/stages", piece="brisket-1", stage="carved", confirm="time not recorded")
    await post(node, "/cooks/finish", confirm="served or handed over")
    assert await hours(node) == {}


async def test_times_that_were_marked_or_stated_teach(node: Node) -> None:
    await node.begin()
    await post(node, "/stages", piece="brisket-1", stage="smoking")
    node.clock.advance(7 * HOUR_MS)
    await post(node, "/stages", piece="brisket-1", stage="wrapped")
    node.clock.advance(4 * HOUR_MS)
    await post(node, "/stages", piece="brisket-1", stage="resting")
    await post(node, "/cooks/finish", confirm="served or handed over")
    learned = await hours(node)
    assert learned == {
        ("brisket-packer", "before-wrap"): [7.0],
        ("brisket-packer", "after-wrap"): [4.0],
    }


async def test_a_meal_that_cannot_be_is_asked_about(node: Node) -> None:
    await cooked(node)
    asked = await post(node, "/meals", 409, came=400, left="50 lb")
    assert "50 lb" in asked["question"]
    asked = await post(node, "/meals", 409, came=400)
    await post(node, "/meals", came=400, confirm=asked["confirm"])
    await post(node, "/meals", came=18, left="310 g")


async def test_ten_times_the_guests_booked_are_asked_about_though_nothing_was_weighed(
    node: Node,
) -> None:
    await post(node, "/cooks", toml=COOK.replace("[cook]", "[cook]\nguests = 45"))
    asked = await post(node, "/meals", 409, came=450)
    assert asked["question"] == "450 came, 45 were booked. Is it right?"
    await post(node, "/meals", came=41)


async def test_what_is_discarded_is_not_served_does_not_teach_and_is_a_loss_by_its_name(
    node: Node,
) -> None:
    await node.begin()
    for checkpoint, mass in (("purchased", "6.4 kg"), ("carved", "3.1 kg")):
        await post(node, "/weighings", piece="brisket-1", checkpoint=checkpoint, mass=mass)
    await post(node, "/stages", 400, piece="brisket-1", stage="carved", reason="dropped")
    await post(node, "/stages", piece="brisket-1", stage="discarded", reason="fell into the ash")
    told = (await node.local.get("/api/v1/yield")).json()["pieces"][0]
    assert told["servable_g"] is None
    assert told["loss_by_cause_g"]["discarded"] == 3100.0
    await post(node, "/cooks/finish", confirm="served or handed over")
    (piece,) = await past(node)
    assert not piece.teaches


@pytest.mark.parametrize(
    ("body", "status", "words"),
    [
        ({"piece": "brisket-1", "value": "3000F"}, 400, "above 2502 F"),
        ({"site": "pit", "value": "3000F"}, 400, "above 2502 F"),
        ({"site": "hold", "value": "420F"}, 409, "site 'hold'"),
        ({"site": "cold", "value": "238F"}, 409, "site 'cold'"),
        ({"site": "pit", "value": "238F", "at_h": 2}, 400, "in the future"),
        ({"site": "pit", "value": "238F", "at_h": -50}, 400, "before this cook"),
        ({"piece": "brisket-1", "value": "150F", "at_h": -4}, 409, "4 h before this cook began"),
    ],
)
async def test_what_no_probe_reads_and_times_outside_the_cook_are_not_written(
    node: Node, body: dict[str, Any], status: int, words: str
) -> None:
    await node.begin()
    before = node.daemon.engine.state.seq
    hours = body.get("at_h")
    said = {name: value for name, value in body.items() if name != "at_h"}
    if hours is not None:
        said["at"] = rfc3339(node.daemon.clock.engine_ms() + hours * HOUR_MS)
    told = await post(node, "/temps", status, **said)
    assert words in str(told)
    assert node.daemon.engine.state.seq == before
    if status == 409:
        await post(node, "/temps", **said, confirm=told["confirm"])


async def test_a_piece_is_discarded_once_and_read_no_more(node: Node) -> None:
    await node.begin()
    await post(node, "/stages", piece="brisket-1", stage="smoking")
    node.clock.advance(3 * HOUR_MS)
    await post(node, "/stages", piece="brisket-1", stage="discarded", reason="dropped")
    node.clock.advance(60_000)
    before = node.daemon.engine.state.seq
    earlier = rfc3339(node.daemon.clock.engine_ms() - HOUR_MS)
    for more in ({}, {"at": earlier}):
        told = await post(node, "/stages", 400, piece="brisket-1", stage="discarded", **more)
        assert "discarded already" in told["error"]
    asked = await post(node, "/temps", 409, piece="brisket-1", value="150F")
    assert "was discarded before" in asked["question"]
    assert node.daemon.engine.state.seq == before


async def test_targets_that_nobody_typed_change_nothing(node: Node) -> None:
    await node.begin()
    await post(node, "/targets", piece="brisket-1", pull_at="199F")
    before = node.daemon.engine.state.seq
    answer = await node.local.post("/api/v1/targets", json={"piece": "brisket-1"})
    assert answer.status_code in (400, 422)
    assert "no target was given" in answer.text
    assert node.daemon.engine.state.seq == before
    assert node.daemon.engine.book.pieces["brisket-1"].piece.pull_at_mc == 92_778
