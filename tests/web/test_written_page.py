"""Mending a past cook on the page: corrected, taken back, excluded, withdrawn; append-only."""

from __future__ import annotations

import re

import httpx

from .conftest import COOK, Node
from .test_corrections import HOUR_MS, post


async def cooked(node: Node) -> str:
    """Cook a brisket to its end, a week ago; return the cook's id."""
    await post(node, "/cooks", toml=COOK, by="AB")
    cook = node.daemon.cook or ""
    for checkpoint, mass in (("purchased", "6.4 kg"), ("carved", "3.6 kg")):
        node.clock.advance(5 * HOUR_MS)
        await post(node, "/weighings", piece="brisket-1", checkpoint=checkpoint, mass=mass, by="AB")
    await post(node, "/stages", piece="brisket-1", stage="carved", by="AB")
    await post(node, "/cooks/finish", confirm="served or handed over")
    node.clock.advance(7 * 24 * HOUR_MS)
    return cook


async def page(node: Node, path: str) -> str:
    await node.daemon.flushed()
    answer = await node.network.get(path, headers=node.cookie())
    assert answer.status_code == 200, answer.text
    return answer.text


async def do(node: Node, action: str, status: int = 200, **fields: str) -> httpx.Response:
    headers = {**node.cookie(), "Accept": "application/json"}
    answer = await node.network.post(f"/do/{action}", data=fields, headers=headers)
    assert answer.status_code == status, answer.text
    return answer


def entry_of(text: str, words: str) -> str:
    """Return the id of the line that says something."""
    found = re.search(rf'<li id="e-([^"]+)">\s*{re.escape(words)}', text)
    assert found is not None, text
    return found[1]


async def test_a_weight_is_corrected_and_the_first_value_why_and_who_stay(node: Node) -> None:
    cook = await cooked(node)
    text = await page(node, f"/cooks/{cook}")
    entry = entry_of(text, "brisket-1: 7 lb 15 oz, carved")
    await do(node, "correct", entry=entry, mass="3.1 kg", reason="read off the wrong line")
    text = await page(node, f"/cooks/{cook}")
    assert entry_of(text, "brisket-1: 6 lb 13.3 oz, carved") == entry
    line = text[text.index(f"e-{entry}") :]
    assert "first: <del>brisket-1: 7 lb 15 oz, carved</del>" in line
    assert re.search(r"AK: entry \S+ corrected: .*: read off the wrong line", line)


async def test_a_stage_is_given_its_time(node: Node) -> None:
    cook = await cooked(node)
    text = await page(node, f"/cooks/{cook}")
    entry = entry_of(text, "brisket-1: carved")
    await do(node, "correct", 400, entry=entry, at="yesterday", reason="late")
    await do(node, "correct", entry=entry, at="2026-09-22T01:30", reason="entered late")
    text = await page(node, f"/cooks/{cook}")
    assert "22 Sep 2026, 01:30" in text[text.index(f"e-{entry}") :]


async def test_a_line_is_taken_back_with_why_and_shown_struck(node: Node) -> None:
    cook = await cooked(node)
    entry = entry_of(await page(node, f"/cooks/{cook}"), "brisket-1: 7 lb 15 oz, carved")
    await do(node, "undo", entry=entry, reason="it was the other one")
    text = await page(node, f"/cooks/{cook}")
    line = text[text.index(f"e-{entry}") :]
    assert "<del>brisket-1: 7 lb 15 oz, carved</del> <b>taken back</b>" in line
    assert "it was the other one" in line
    again = await do(node, "undo", 409, entry=entry, reason="twice")
    assert "already" in again.text


async def test_a_line_and_a_cook_are_excluded_with_why_and_included_again(node: Node) -> None:
    cook = await cooked(node)
    entry = entry_of(await page(node, f"/cooks/{cook}"), "brisket-1: 7 lb 15 oz, carved")
    await do(node, "learning", 400, entry=entry, teaches="false")
    for about, out, back in (
        ({"entry": entry}, "Let it teach again", "Do not learn from it"),
        ({"cook": cook}, "Let this cook teach again", "Learn nothing from this cook"),
    ):
        await do(node, "learning", 200, **about, teaches="false", reason="half was dropped")
        text = await page(node, f"/cooks/{cook}")
        assert out in text
        assert "half was dropped" in text
        await do(node, "learning", 200, **about, teaches="true", reason="found again")
        text = await page(node, f"/cooks/{cook}")
        assert out not in text
        assert back in text


async def test_a_cook_is_withdrawn_stays_to_be_seen_and_is_brought_back(node: Node) -> None:
    cook = await cooked(node)
    await do(node, "withdraw", cook=cook, reason="typed twice")
    text = await page(node, "/cooks")
    assert "Withdrawn: 1" in text
    text = await page(node, f"/cooks/{cook}")
    assert "typed twice" in text
    found = re.search(
        r'name="entry" value="([^"]+)"[^\n]*\n[^\n]*\n<button[^>]*>Bring the cook back', text
    )
    assert found is not None
    await do(node, "undo", entry=found[1], reason="it was another one")
    assert "Withdrawn" not in await page(node, "/cooks")


async def test_what_was_typed_as_a_name_is_shown_as_text(node: Node) -> None:
    await post(node, "/cooks", toml=COOK)
    cook = node.daemon.cook or ""
    await post(node, "/notes", text="<script>alert(1)</script>")
    text = await page(node, f"/cooks/{cook}")
    assert "<script>alert(1)" not in text


async def test_a_phone_that_may_only_look_sees_no_forms(node: Node) -> None:
    from pitlogger.web.access.roles import Role

    cook = await cooked(node)
    headers = node.cookie(Role.LOOK)
    text = (await node.network.get(f"/cooks/{cook}", headers=headers)).text
    assert "What was written down" in text
    assert "/do/correct" not in text
