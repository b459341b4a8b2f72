"""A capture put on record in parts: listed when whole, refused in words, the owner's alone."""

from __future__ import annotations

from typing import Any

from pitlogger.formats.cook_file import parse_cook
from pitlogger.formats.journal_json import dump_body
from pitlogger.model.journal import Body, CookFinished, CookStarted
from pitlogger.web.access.roles import Role
from tests.web.conftest import COOK, START_MS, Node

WHERE = "/api/v1/record/captures"
RUN = "capture-0123456789ab"
DAY_MS = 86_400_000
THEN_MS = START_MS - 30 * DAY_MS


def part(**more: Any) -> dict[str, Any]:
    return {"run": RUN, "start_ms": THEN_MS, "end_ms": THEN_MS + DAY_MS, **more}


def readings(count: int = 3) -> dict[str, Any]:
    column = {
        "channel": "pit", "quantity": "temperature",
        "t_ms": [THEN_MS + number * 1000 for number in range(count)],
        "raw": [110_000] * count, "value": [110_500] * count,
        "quality": ["good"] * count, "stable": [None] * count,
    }  # fmt: skip
    return part(readings=[column])


def entries() -> dict[str, Any]:
    bodies: tuple[Body, ...] = (CookStarted(parse_cook(COOK)), CookFinished("supper"))
    listed = [
        {"seq": seq, "t_ms": THEN_MS + seq, "by": "MK", "cook": "past-supper", "body": dump_body(b)}
        for seq, b in enumerate(bodies, start=1)
    ]
    return part(entries=listed)


async def test_a_cook_is_listed_once_its_entries_are_there(node: Node) -> None:
    for _ in range(2):  # twice does no harm
        answer = await node.local.post(WHERE, json=readings())
        assert answer.json() == {"entries": 0, "readings": 3}
    assert (await node.local.get("/api/v1/cooks")).json() == []
    assert (await node.local.post(WHERE, json=entries())).status_code == 200
    (cook,) = (await node.local.get("/api/v1/cooks")).json()
    assert (cook["cook"], cook["name"], cook["entries"]) == ("past-supper", "supper", 2)
    kept = await node.daemon.ask(
        lambda reader: list(reader.readings(None, THEN_MS, THEN_MS + DAY_MS, run=RUN))
    )
    assert [(r.channel, r.raw, r.value) for r in kept] == [("pit", 110_000, 110_500)] * 3


async def test_a_cook_of_the_past_is_not_taken_for_one_that_runs(node: Node) -> None:
    await node.local.post(WHERE, json=entries())
    assert node.daemon.cook is None
    assert (await node.local.post("/api/v1/cooks", json={"toml": COOK})).status_code == 200


async def test_a_cook_recorded_here_is_refused_in_words(node: Node) -> None:
    await node.begin()
    entry = next(e for e in node.daemon.engine.state.entries if isinstance(e.body, CookStarted))
    answer = await node.local.post(WHERE, json=entries() | {"origin": [entry.run, entry.seq]})
    assert answer.status_code == 409
    assert "on record here already" in answer.json()["error"]


async def test_columns_of_unequal_length_and_times_outside_are_refused(node: Node) -> None:
    uneven, late = readings(), readings()
    uneven["readings"][0]["raw"].pop()
    late["end_ms"] = THEN_MS
    for wrong in (uneven, late, part()):
        answer = await node.local.post(WHERE, json=wrong)
        assert answer.status_code in (400, 422), answer.text


async def test_only_the_owner_puts_captures_on_record(node: Node) -> None:
    answer = await node.network.post(WHERE, json=readings(), headers=node.cookie(Role.HANDS))
    assert answer.status_code == 403
    answer = await node.network.post(WHERE, json=readings(), headers=node.cookie(Role.OWNER))
    assert answer.status_code == 200
