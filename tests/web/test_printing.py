"""Sheets are served: made apart, styled under a policy of their own, refused in words."""

from __future__ import annotations

import pytest

from pitlogger.model.readings import Reading
from pitlogger.web.page.records.printing import policy
from tests.web.conftest import START_MS, Node

HTML = {"Accept": "text/html"}


@pytest.mark.parametrize("what", ["cook", "food-log", "take-along"])
async def test_a_sheet_of_the_running_cook(node: Node, what: str) -> None:
    await node.begin()
    node.daemon.feed(Reading("pit", START_MS, 115_000))
    answer = await node.local.get(f"/print/{what}", headers=HTML)
    assert answer.status_code == 200, answer.text
    assert "supper" in answer.text
    assert answer.headers["content-security-policy"] == policy(answer.text)
    assert "unsafe-inline" not in answer.headers["content-security-policy"]


async def test_units_of_the_phone_are_those_of_the_sheet(node: Node) -> None:
    await node.begin()
    node.local.cookies.set("units", "C.kg")
    text = (await node.local.get("/print/take-along", headers=HTML)).text
    assert "at 57 C or above" in text


async def test_before_the_first_cook_it_is_refused_in_words(node: Node) -> None:
    answer = await node.local.get("/print/cook", headers=HTML)
    assert answer.status_code == 409
    assert "There is no cook on record yet." in answer.text


async def test_an_unknown_cook_and_an_unknown_sheet_are_named(node: Node) -> None:
    await node.begin()
    cook = await node.local.get("/print/cook", params={"cook": "nobody"}, headers=HTML)
    assert (cook.status_code, "nobody" in cook.text) == (400, True)
    sheet = await node.local.get("/print/poster", headers=HTML)
    assert (sheet.status_code, "poster" in sheet.text) == (400, True)


async def test_a_label_takes_an_answer_for_each_allergen(node: Node) -> None:
    asked = {"name": "sliced brisket", "ingredients": "beef\nbutter (cream, salt)",
             "mass": "2 lb 4 oz", "packed": "2026-09-19T18:00", "vacuum": "no"}  # fmt: skip
    answer = await node.local.get("/print/label", params=asked, headers=HTML)
    assert answer.status_code == 200, answer.text
    for part in ("sliced brisket", "do not hand out", "suggest milk", "2026-09-25", "2 lb 4 oz"):
        assert part in answer.text
    said = {f"has-{at}": "yes" if at == 0 else "no" for at in range(9)}
    text = (await node.local.get("/print/label", params={**asked, **said}, headers=HTML)).text
    assert "Contains: milk." in text
    assert "do not hand out" not in text


async def test_what_a_label_cannot_say_is_refused(node: Node) -> None:
    for asked in ({"mass": "2 lb"}, {"name": "x", "mass": "2"}, {"name": "x", "packed": "noon"},
                  {"name": "x"}):  # fmt: skip
        answer = await node.local.get("/print/label", params=asked, headers=HTML)
        assert answer.status_code == 400


async def test_a_shopping_list_of_a_menu(node: Node) -> None:
    asked = {"guests": "45", "portion": "5 oz", "cut": "brisket-packer", "share": "60",
             "cut-2": "pork-butt", "share-2": "40"}  # fmt: skip
    answer = await node.local.get("/print/shopping", params=asked, headers=HTML)
    assert answer.status_code == 200, answer.text
    assert "whole brisket" in answer.text
    assert "pork butt" in answer.text


async def test_names_are_text_in_a_sheet(node: Node) -> None:
    asked = {"name": "<script>alert(1)</script>", "packed": "2026-09-19T18:00"}
    text = (await node.local.get("/print/label", params=asked, headers=HTML)).text
    assert "<script>" not in text


async def test_the_print_screen_leads_to_every_sheet(node: Node) -> None:
    await node.begin()
    text = (await node.local.get("/print", headers=HTML)).text
    for what in ("cook", "food-log", "take-along", "label"):
        assert f"/print/{what}" in text
