"""The hub's database is away: words and a 503, no traceback, and it is asked again by itself."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from starlette.applications import Starlette

from pitlogger.hub.opening import open_sink
from pitlogger.hub.postgres import PostgresDatabase
from pitlogger.web.fleet.firm_page import make_firm_page
from pitlogger.web.fleet.open_hub import open_hub
from pitlogger.web.fleet.receiving import make_receiving
from tests.fleet.conftest import Server


class Away:
    """A database that lets nobody in for a while."""

    def __init__(self, server: Server, name: str) -> None:
        self._admin = PostgresDatabase(server.address("postgres"))
        self._name = name

    def shut(self) -> None:
        self._admin.run(f"ALTER DATABASE {self._name} ALLOW_CONNECTIONS false")
        self._admin.ask(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = ?",
            (self._name,),
        )

    def close(self) -> None:
        self._admin.connection.close()

    def open(self) -> None:
        self._admin.run(f"ALTER DATABASE {self._name} ALLOW_CONNECTIONS true")


@pytest.fixture
def away(server: Server) -> Iterator[tuple[str, Away]]:
    made = server.new_database()
    name = str(made.ask("SELECT current_database()")[0][0])
    made.connection.close()
    shutter = Away(server, name)
    yield server.address(name), shutter
    shutter.open()
    shutter.close()


def client(app: Starlette) -> httpx.AsyncClient:
    return httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="https://hub.test")


async def test_page_and_nodes_are_told_and_served_again(
    away: tuple[str, Away], tmp_path: Path
) -> None:
    address, database = away
    async with (
        open_hub(open_sink(address), tmp_path, "own") as hub,
        client(make_firm_page(hub)) as page,
        client(make_receiving(hub)) as nodes,
    ):
        assert (await page.get("/")).status_code == 401
        database.shut()
        seen = await page.get("/")
        assert seen.status_code == 503
        assert "Nothing is lost" in seen.text
        entered = await page.post("/enter", content="token=whatever")
        assert entered.status_code == 503
        sent = await nodes.post("/fleet/1/join", content=b"{}")
        assert sent.status_code in (403, 503)
        database.open()
        assert (await page.get("/")).status_code == 401


def test_a_server_that_was_started_anew_in_a_quiet_time_is_asked_without_a_fault(
    away: tuple[str, Away], monkeypatch: pytest.MonkeyPatch
) -> None:
    address, server = away
    database = PostgresDatabase(address)
    server.shut()
    server.open()
    monkeypatch.setattr("pitlogger.hub.postgres.IDLE_S", 0.0)
    assert database.ask("SELECT 1") == [(1,)]
    database.close()
