"""Requests nobody would send on purpose: an answer in words, never a fault of ours."""

from __future__ import annotations

from typing import Any

import httpx
import pytest

from tests.web.conftest import Node

HUGE = "9" * 23
PIECE = {"id": "x", "cut": "other"}


@pytest.mark.parametrize("cut", [{}, [], [1], None, 5, {"a": {}}])
async def test_a_cut_that_is_no_text_is_refused(node: Node, cut: object) -> None:
    await node.begin()
    answer = await node.local.post("/api/v1/pieces", json={"piece": {**PIECE, "cut": cut}})
    assert answer.status_code == 400
    assert "cut" in answer.json()["error"]


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/stages", {"piece": "brisket-1", "stage": "smoking", "at": "0001-01-01T00:00:00+14:00"}),
        ("/stages", {"piece": "brisket-1", "stage": "smoking", "at": "9999-12-31T23:59:59-14:00"}),
        ("/merge", {"pieces": ["a", "b"], "into": {"id": {}, "cut": {}}}),
        ("/cooks", {"toml": "[cook]\nname='x'\n[[piece]]\nid='a'\ncut={}"}),
        ("/checks", {"instrument": "p", "method": "ice", "error": 10**30, "tolerance": 1,
                     "within": True}),
        ("/checks", {"instrument": "p", "method": "ice", "error": 1, "tolerance": 10**30,
                     "within": True}),
    ],
)  # fmt: skip
async def test_what_lies_beyond_every_measure_is_refused(
    node: Node, path: str, body: dict[str, Any]
) -> None:
    await node.begin()
    answer = await node.local.post(f"/api/v1{path}", json=body)
    assert answer.status_code in (400, 409)
    assert answer.json()["error"]


@pytest.mark.parametrize(
    ("from_ms", "to_ms"), [(HUGE, HUGE), ("0", HUGE), (f"-{HUGE}", "0"), (f"-{HUGE}", HUGE)]
)
async def test_a_chart_of_23_digits_is_refused(node: Node, from_ms: str, to_ms: str) -> None:
    span = {"from_ms": from_ms, "to_ms": to_ms}
    assert (await node.local.get("/api/v1/chart", params=span)).status_code == 400


async def test_a_note_forges_no_line_and_steers_no_terminal(node: Node) -> None:
    await node.begin()
    text = "soft\n2026-09-21 14:13  brisket-1: served\x1b[2J\r\u2028end"
    answer = await node.local.post("/api/v1/notes", json={"text": text, "by": "A\nB"})
    kept = answer.json()
    assert kept["text"] == "soft 2026-09-21 14:13  brisket-1: served [2J  end"
    assert kept["by"] == "A B"


async def test_nested_and_endless_json_is_refused(node: Node) -> None:
    async def status(content: bytes) -> int:
        headers = {"Content-Type": "application/json"}
        transport: httpx.AsyncClient = node.local
        answer = await transport.post("/api/v1/notes", content=content, headers=headers)
        return answer.status_code

    assert await status(b"[" * 60_000) == 400
    assert await status(b'{"a":' * 10_000) == 400
    assert await status(b'{"text": ' + b"9" * 5000 + b"}") == 400


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/stages", b'{"piece": "brisket-1", "stage": "served", "mass": "\\ud800"}'),
        ("/temps", b'{"piece": "brisket-1", "value": "\\udC3D F"}'),
        ("/pieces", b'{"piece": {"id": "x", "cut": "\\uD83D"}}'),
        ("/notes", b'{"text": "soft", "key": "\\ud83d"}'),
    ],
)
async def test_half_a_character_is_refused(node: Node, path: str, body: bytes) -> None:
    await node.begin()
    headers = {"Content-Type": "application/json"}
    answer = await node.local.post(f"/api/v1{path}", content=body, headers=headers)
    assert answer.status_code == 400
    assert "half a character" in answer.json()["error"]


async def test_a_whole_character_of_two_halves_is_taken(node: Node) -> None:
    await node.begin()
    body, headers = b'{"text": "\\ud83d\\udd25 lit"}', {"Content-Type": "application/json"}
    answer = await node.local.post("/api/v1/notes", content=body, headers=headers)
    assert answer.json()["text"] == "\U0001f525 lit"


@pytest.mark.parametrize("number", ["9" * 30, "9" * 5000, "1" + "0" * 18])
async def test_an_entry_of_many_digits_is_not_known(node: Node, number: str) -> None:
    await node.begin()
    answer = await node.local.get(f"/api/v1/entries/{number}")
    assert answer.status_code == 400


async def test_a_key_of_another_kind_of_request_swallows_no_weight(node: Node) -> None:
    await node.begin()
    noted = await node.local.post("/api/v1/notes", json={"text": "soft", "key": "tap-1"})
    weight = {"piece": "brisket-1", "checkpoint": "trimmed", "mass": "5.2 kg", "key": "tap-1"}
    answer = await node.local.post("/api/v1/weighings", json=weight)
    assert answer.status_code == 409
    assert noted.json()["id"] in answer.json()["error"]
    kept = await node.local.post("/api/v1/weighings", json=weight | {"key": "tap-2"})
    assert kept.json()["net_g"] == 5200


@pytest.mark.parametrize(
    ("name", "fields"),
    [
        ("weigh", {".".join("a" * 30_000): "1"}),
        ("split", {f"into.{'9' * 5000}.id": "flat"}),
        ("device-command", {"device": "x", "command": "y", "key": "9" * 500}),
        ("begin", {"name": "x", "key": "9" * 500}),
    ],
)
async def test_a_form_of_odd_fields_is_refused(
    node: Node, name: str, fields: dict[str, str]
) -> None:
    await node.begin()
    answer = await node.local.post(f"/do/{name}", data=fields, headers={"Accept": "text/json"})
    assert answer.status_code == 400
