"""Joining by what the hub's page shows: a line scanned and pasted, or a code that is typed."""

from __future__ import annotations

import asyncio
import html
import json
import re
from collections.abc import AsyncIterator
from contextlib import closing
from pathlib import Path

import httpx
import pytest

from pitlogger.errors import UsageError
from pitlogger.formats.join_code import join_line, parse_invitation
from pitlogger.hub.database import SqliteDatabase
from pitlogger.uplink.joined import JOINED_FILE
from pitlogger.uplink.offers import OFFER_FILE, keep_offered, read_offer
from pitlogger.web.access.roles import Role
from pitlogger.web.page.doing import qr_svg
from tests.fleet.test_two_nodes import HUB, Running, pair, running
from tests.web.conftest import Node, node

__all__ = ["node", "pair"]
CODE = "kq7m-x2pd-93vt-hwna"
AT = "192.0.2.7:8443"


@pytest.mark.parametrize("text", [
    f"pitlogger uplink join {AT} {CODE}", f"pitlogger uplink join https://{AT} {CODE}",
    f"  {AT}\n{CODE.upper()} ", f"{AT} kq7m x2pd 93vt hwna", f"PITLOGGER Uplink {AT} {CODE}",
])  # fmt: skip
def test_what_a_hub_shows_is_read_however_it_was_pasted(text: str) -> None:
    address, code = parse_invitation(text)
    assert address.removeprefix("https://") == AT
    assert code.casefold().replace(" ", "-") == CODE
    assert parse_invitation(code) == ("", code)


@pytest.mark.parametrize("text", [
    "", "hello", CODE[:-1], f"{AT}", f"join us at {AT} {CODE}", f"{AT} {AT} {CODE}",
    f"{CODE} {AT}", f"{AT} {CODE}x", f"{AT} {CODE[:-2]}!!", "\0" * 16, "kq7m-x2pd-93vt-hwn0",
])  # fmt: skip
def test_anything_else_is_refused_with_what_was_expected(text: str) -> None:
    with pytest.raises(UsageError, match="expected"):
        parse_invitation(text)


async def shown(one: Running, path: str, **form: str) -> httpx.Response:
    """Return a screen, of a form where fields are given."""
    headers = {"Accept": "text/html"}
    if form:
        return await one.client.post(path, data=form, headers=headers)
    return await one.client.get(path, headers=headers)


async def code_line(hub: Running, site: str = "fair") -> str:
    """Return the line of a code that the hub's page makes."""
    answer = await shown(hub, "/hub/code", site=site)
    assert answer.status_code == 200, answer.text
    found = re.search(r"<code>(pitlogger uplink join \S+ \S+)</code>", answer.text)
    assert found is not None, answer.text
    line = html.unescape(found[1])
    assert qr_svg(line) in answer.text
    assert "://" not in line, "a phone would open the hub's port"
    return line


async def test_two_taps_join_once_by_the_line_of_the_page(
    pair: tuple[Running, Running], tmp_path: Path
) -> None:
    hub, one = pair
    line = await code_line(hub)
    assert "keeps its record to itself" in (await shown(one, "/uplink")).text
    taps = await asyncio.gather(*(shown(one, "/uplink/join", code=line) for _ in range(2)))
    assert [tap.status_code for tap in taps] == [303, 303]
    joined = json.loads((tmp_path / "node" / JOINED_FILE).read_text())
    assert (joined["tenant"], joined["site"]) == ("Meadow Catering", "fair")
    text = (await shown(one, "/uplink")).text
    assert "The record goes to Meadow Catering, fair." in text
    nodes = {row["name"]: row["site"] for row in await hub.get("/hub/nodes")}
    assert nodes == {"smokehouse": "yard", "trailer": "fair"}
    assert (await shown(one, "/uplink/leave", really="yes")).status_code == 303
    again = await shown(one, "/uplink/join", code=line)
    assert again.status_code == 409
    assert "used once" in again.text
    assert "pitlogger hub" not in again.text, "a command on a page"
    with closing(SqliteDatabase(tmp_path / "hub" / "hub.db")) as audit:
        said = [row[0] for row in audit.ask("SELECT did FROM audit")]
    assert any("made a code" in did for did in said)


async def test_a_hub_joins_none_and_says_when_a_site_is_new(pair: tuple[Running, Running]) -> None:
    hub, _ = pair
    line = await code_line(hub)
    assert (await shown(hub, "/uplink/join", code=line)).status_code == 303
    assert "This node is the hub of Meadow Catering." in (await shown(hub, "/uplink")).text
    assert "will be a new one" in (await shown(hub, "/hub/code", site="fiar")).text
    assert "will be a new one" not in (await shown(hub, "/hub/code", site="yard")).text
    for wrong in ("a\0b", "x" * 65, "\u202e"):
        answer = await shown(hub, "/hub/code", site=wrong)
        assert answer.status_code == 400, wrong
        assert "no name of a site" in answer.text
    assert (await hub.post("/hub/invitations", site="a\0b")).status_code == 400


async def test_five_wrong_codes_use_up_the_one_that_is_open(pair: tuple[Running, Running]) -> None:
    hub, one = pair
    line = await code_line(hub)
    wrong = f"{line[:-9]}2222-2222"
    for _ in range(5):
        answer = await shown(one, "/uplink/join", code=wrong)
        assert answer.status_code == 409
        assert "not good" in answer.text
    assert (await shown(one, "/uplink/join", code=line)).status_code == 409
    other = f"{line.rpartition(' ')[0]} 2222-2222-{line[-9:]}"
    answer = await shown(one, "/uplink/join", code=other)
    assert "is not the hub this code is of" in answer.text
    away = join_line("127.0.0.1:1", line[-19:])
    answer = await shown(one, "/uplink/join", code=away)
    assert answer.status_code == 502
    assert "cannot be reached" in answer.text
    assert "Check its address" in answer.text


async def test_hands_and_lookers_see_it_and_change_nothing(node: Node) -> None:
    data = node.daemon.config.node.data
    keep_offered(data, "Meadow Catering", {"pork-butt": OFFER})
    for role in (Role.LOOK, Role.HANDS):
        headers = {**node.cookie(role), "Accept": "text/html"}
        text = (await node.network.get("/uplink?look=1", headers=headers)).text
        assert "keeps its record" in text
        assert "<form" not in text.split("<main", 1)[1].split("</main>")[0]
        for path in ("/uplink/join", "/uplink/leave", "/uplink/priors", "/hub/code"):
            answer = await node.network.post(path, headers=headers, data={"answer": "take"})
            assert answer.status_code == 403, path
    assert (await node.network.get("/uplink", headers={"Accept": "text/html"})).status_code != 200
    assert read_offer(data).taken == {}


OFFER = {"mean": 0.4, "between": 0.1, "within": 0.2, "sites": 4, "pieces": 33}


@pytest.fixture
async def alone(tmp_path: Path) -> AsyncIterator[Running]:
    async with running(tmp_path, "trailer") as one:
        yield one


async def test_an_offer_is_taken_declined_and_undone_by_taps(
    alone: Running, tmp_path: Path
) -> None:
    assert "An offer for plans" not in (await shown(alone, "/uplink")).text
    assert (await shown(alone, "/uplink/priors", answer="take")).status_code == 409
    assert (await shown(alone, "/uplink/priors", answer="undo")).status_code == 409
    keep_offered(tmp_path, "Meadow Catering", {"pork-butt": OFFER})
    text = (await shown(alone, "/uplink")).text
    assert "What other sites of Meadow Catering yield" in text
    assert "4 sites, 33 pieces" in text
    assert "59.9 %" in text
    assert "not in use" in text
    for answer, taken, state in (
        ("take", True, "in use"), ("take", True, "in use"), ("undo", False, "not in use"),
        ("decline", False, "declined"), ("undo", False, "not in use"), ("take", True, "in use"),
        ("decline", False, "declined"), ("undo", True, "in use"),
    ):  # fmt: skip
        assert (await shown(alone, "/uplink/priors", answer=answer)).status_code == 303
        assert bool(read_offer(tmp_path).taken) == taken, answer
        assert f"<td>{state}</td>" in (await shown(alone, "/uplink")).text
    assert (await shown(alone, "/uplink/priors", answer="perhaps")).status_code == 400
    (tmp_path / OFFER_FILE).write_text("{")
    assert (await shown(alone, "/uplink")).status_code == 200


async def test_a_hub_of_another_record_is_heard_on_the_page(tmp_path: Path) -> None:
    """Looking for hubs ends in a list, in nothing heard or in a reason; never in a fault."""
    async with running(tmp_path / "hub", "smokehouse", HUB), running(tmp_path / "n", "van") as one:
        answer = await shown(one, "/uplink?look=1")
        assert answer.status_code == 200
        assert any(said in answer.text for said in ("No hub answers", "The code alone", "address"))
