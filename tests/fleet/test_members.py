"""Who may look at a hub in a file, which withholds no rows: owners of all, nobody in part."""

from __future__ import annotations

from collections.abc import AsyncIterator
from pathlib import Path

import httpx
import pytest

from pitlogger.errors import UsageError
from pitlogger.hub.database import SqliteDatabase
from pitlogger.hub.members import Member, add_member, seen_by
from pitlogger.hub.writing import HubSink
from pitlogger.web.fleet.firm_page import COOKIE, make_firm_page
from pitlogger.web.fleet.open_hub import OpenHub, open_hub
from tests.fleet.made import enrolled, key_and_uid

BASE = "https://hub.test"


@pytest.fixture
async def hub(tmp_path: Path) -> AsyncIterator[OpenHub]:
    sink = HubSink(SqliteDatabase(tmp_path / "hub.db"))
    enrolled(sink, *key_and_uid(1))
    async with open_hub(sink, tmp_path, "own") as made:
        made.address = f"{BASE}:8443"
        yield made


def browser(hub: OpenHub, token: str = "") -> httpx.AsyncClient:
    transport = httpx.ASGITransport(make_firm_page(hub))
    return httpx.AsyncClient(
        transport=transport, base_url=BASE, cookies={COOKIE: token}, headers={"origin": BASE}
    )


@pytest.mark.parametrize(("role", "sites", "until_ms"), [
    ("owner", ["yard"], None), ("manager", ["yard"], None), ("cook", ["yard"], None),
    ("inspector", [], 1 << 43),
])  # fmt: skip
async def test_a_part_of_a_file_is_shown_to_nobody(
    hub: OpenHub, role: str, sites: list[str], until_ms: int | None
) -> None:
    database = hub.ingest.sink.database
    with pytest.raises(UsageError, match="needs a hub on PostgreSQL"):
        await hub.ingest.do(lambda sink: add_member(
            sink.database, 1, "Bo", role, sites, until_ms, 1, "test"))  # fmt: skip
    part = Member(1, 1, "Bo", role, (1,) if sites else (), until_ms)
    with pytest.raises(UsageError), seen_by(database, part):
        pass


async def test_an_owner_makes_a_code_and_nonsense_is_refused(hub: OpenHub) -> None:
    token = await hub.ingest.do(lambda sink: add_member(
        sink.database, 1, "Ada", "owner", [], None, 1, "test"))  # fmt: skip
    async with browser(hub, token) as owner, browser(hub, token[:-1]) as stranger:
        assert "another node join" in (await owner.get("/")).text
        assert "Who looks?" in (await stranger.get("/")).text
        made = await owner.post("/code", data={"site": "quay"})
        assert "pitlogger uplink join hub.test:8443 " in made.text
        assert "will be a new one" in made.text
        assert (await stranger.post("/code", data={"site": "quay"})).status_code == 401
        for body in (
            b"",
            b"site=",
            b"site=a%00b",
            b"\xff\xfe",
            b"site=" + b"x" * 9000,
            b"&=" * 2000,
        ):
            answer = await owner.post("/code", content=body)
            assert answer.status_code == 400, body[:20]
            assert "pitlogger uplink join" not in answer.text
