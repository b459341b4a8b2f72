"""A hub by itself: its commands on a real PostgreSQL and a real Mosquitto, and real daemons."""

from __future__ import annotations

import asyncio
import json
import signal
import subprocess
import sys
from collections.abc import AsyncIterator, Iterator
from contextlib import AsyncExitStack, asynccontextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest

from pitlogger.hub.opening import open_sink
from pitlogger.model.journal import TroubleChanged
from pitlogger.uplink.joined import CERTIFICATE_FILE
from tests.fleet.conftest import Server
from tests.fleet.test_two_nodes import Running, running
from tests.notify.conftest import free_port
from tests.system.broker import Broker

PITLOGGER = str(Path(sys.executable).with_name("pitlogger"))


def hub(*words: str, check: bool = True) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        [PITLOGGER, "hub", *words], capture_output=True, text=True,
        check=False, timeout=60,
    )  # fmt: skip
    assert not check or done.returncode == 0, done.stderr
    return done


@asynccontextmanager
async def serving(*words: str) -> AsyncIterator[asyncio.subprocess.Process]:
    """Run a hub's process until it has said that it works."""
    process = await asyncio.create_subprocess_exec(
        PITLOGGER, "hub", *words, stdout=asyncio.subprocess.PIPE
    )
    assert process.stdout is not None
    try:
        async with asyncio.timeout(30):
            assert await process.stdout.readline(), words
        yield process
    finally:
        if process.returncode is None:
            process.send_signal(signal.SIGTERM)
        await process.wait()


class Firm:
    """A hub of a firm: where its parts are."""

    def __init__(self, folder: Path, database: str) -> None:
        self.folder, self.database = folder, database
        self.broker = Broker(folder)
        self.port, self.page_port = free_port(), free_port()
        self.args = ("--database", database, "--firm", "Meadow Catering")
        self.made = ("--data", str(folder), *self.args)

    @property
    def address(self) -> str:
        return f"mqtts://127.0.0.1:{self.broker.port}"

    def ask(self, *words: str) -> Any:
        return json.loads(hub(*words, *self.args, "--json").stdout)

    async def node(self, stack: AsyncExitStack, folder: Path, name: str, site: str) -> Running:
        """Start a node and let it join."""
        node = await stack.enter_async_context(running(folder, name))
        made = await asyncio.to_thread(self.ask, "invite", "--site", site)
        joined = await node.post(
            "/uplink/join", hub=f"https://127.0.0.1:{self.port}", code=made["code"]
        )
        assert joined.is_success, joined.text
        assert joined.json()["broker"] == self.address
        return node


@pytest.fixture
def firm(server: Server, tmp_path: Path) -> Iterator[Firm]:
    made = server.new_database()
    name = made.connection.info.dbname
    made.connection.execute("DROP SCHEMA fleet CASCADE")
    made.close()
    folder = tmp_path / "hub"
    found = Firm(folder, server.address(name))
    hub("init", "--broker-port", str(found.broker.port), *found.made)
    yield found
    found.broker.stop()


@asynccontextmanager
async def whole(firm: Firm, ingesters: int = 2) -> AsyncIterator[AsyncExitStack]:
    """Run the broker, some ingesters and the web part."""
    firm.broker.persistent = False
    settings = (firm.folder / "mosquitto.conf").read_text(encoding="utf-8").splitlines()
    firm.broker.lines = settings[1:]
    await firm.broker.start()
    async with AsyncExitStack() as stack:
        for _ in range(ingesters):
            await stack.enter_async_context(serving("ingest", "--broker", firm.address, *firm.made))
        await stack.enter_async_context(serving(
            "web", "--host", "127.0.0.1", "--port", str(firm.port), "--page-port",
            str(firm.page_port), "--broker", firm.address, *firm.made,
        ))  # fmt: skip
        yield stack


async def until(true: Any, seconds: float = 40) -> None:
    async with asyncio.timeout(seconds):
        while not await asyncio.to_thread(true):  # noqa: ASYNC110 - another process's work
            await asyncio.sleep(0.2)


@pytest.mark.slow
async def test_two_nodes_over_a_broker_and_the_page_as_each_role(
    firm: Firm, tmp_path: Path
) -> None:
    async with whole(firm) as stack:
        yard = await firm.node(stack, tmp_path / "a", "smokehouse", "yard")
        fair = await firm.node(stack, tmp_path / "b", "trailer", "fair")
        assert "BEGIN CERTIFICATE" in (tmp_path / "a" / CERTIFICATE_FILE).read_text()
        for node in (yard, fair):
            node.say(TroubleChanged("disk-low", "node", True, "2 GB are free", "make room"))
        await until(lambda: len(firm.ask("exceptions")) == 2)
        await until(lambda: len(firm.ask("now")) == 2)
        assert {row["site"] for row in firm.ask("status")} == {"yard", "fair"}
        seen = {}
        for name, more in {
            "Ada": ("--role", "owner"),
            "Bo": ("--role", "manager", "--site", "fair"),
            "Cy": ("--role", "cook", "--site", "yard"),
            "Di": ("--role", "inspector", "--until", "2100-01-01"),
            "Ed": ("--role", "inspector", "--until", "2001-01-01"),
        }.items():
            token = (await asyncio.to_thread(firm.ask, "member", "add", name, *more))["token"]
            seen[name] = await page(firm, token)
            made = [await code_of(firm, token, site) for site in ("yard", "fair", "quay")]
            assert made == MAY_MAKE[name], name
        assert all(word in seen["Ada"] for word in ("smokehouse", "trailer", "Nodes", "yield"))
        assert "trailer" in seen["Bo"]
        assert "smokehouse" not in seen["Bo"]
        assert "smokehouse" in seen["Cy"]
        assert "trailer" not in seen["Cy"]
        assert "Nodes" not in seen["Cy"]
        assert "trailer" in seen["Di"]
        assert "Servable yield" not in seen["Di"]
        assert [name for name, text in seen.items() if "another node join" in text] == ["Ada", "Bo"]
        assert "its time has ended" in seen["Ed"]
        await asyncio.to_thread(hub, "member", "remove", "Ada", *firm.args)
        assert hub("verify", *firm.args).returncode == 0
        out = tmp_path / "hub.dump"
        assert firm.ask("backup", str(out))["bytes"] > 1000


MAY_MAKE = {  # answers to a code for a node at yard, at fair, at a new site
    "Ada": [200, 200, 200], "Bo": [403, 200, 403], "Cy": [403, 403, 403],
    "Di": [403, 403, 403], "Ed": [401, 401, 401],
}  # fmt: skip


async def code_of(firm: Firm, token: str, site: str) -> int:
    """Return how a code for a node of a site is answered, and from another page never."""
    url = f"https://127.0.0.1:{firm.page_port}"
    cookies = {"__Host-pitlogger-firm": token}
    async with httpx.AsyncClient(verify=False, base_url=url, cookies=cookies) as browser:
        for origin in ({}, {"origin": "https://other.example"}, {"origin": "null"}):
            answer = await browser.post("/code", data={"site": site}, headers=origin)
            assert answer.status_code in (401, 403), origin
        answer = await browser.post("/code", data={"site": site}, headers={"origin": url})
        assert ("pitlogger uplink join 127.0.0.1:" in answer.text) == answer.is_success
        return answer.status_code


async def page(firm: Firm, token: str) -> str:
    """Return the firm's page as somebody sees it who types a key."""
    url = f"https://127.0.0.1:{firm.page_port}"
    async with httpx.AsyncClient(verify=False, base_url=url, follow_redirects=True) as browser:
        assert "Who looks?" in (await browser.get("/")).text
        return (await browser.post("/enter", data={"token": token})).text


@pytest.mark.slow
async def test_ingester_and_broker_are_killed_and_nothing_is_lost(
    firm: Firm, tmp_path: Path
) -> None:
    async with whole(firm, 1) as stack:
        node = await firm.node(stack, tmp_path / "a", "smokehouse", "yard")
        async with serving("ingest", "--broker", firm.address, *firm.made) as second:
            for number in range(30):
                node.say(TroubleChanged("disk-low", "node", number % 2 == 0, f"{number}", "x"))
                if number == 10:
                    second.kill()
                if number == 20:
                    assert firm.broker.process is not None
                    firm.broker.process.kill()
                    firm.broker.process.wait()
                    await firm.broker.start()
                await asyncio.sleep(0)
        uid = node.daemon.uid

        def entries() -> list[Any]:
            database = open_sink(firm.database).database
            rows = database.ask(
                "SELECT entry FROM journal JOIN node ON node.id = journal.node WHERE uid = ?"
                " ORDER BY run, seq", (uid,),
            )  # fmt: skip
            database.close()
            return rows

        wanted = await node.daemon.ask(own_entries)
        assert len(wanted) >= 30
        await until(lambda: set(wanted) <= set(entries()), 90)
        found = entries()
        assert len(found) == len(set(found)), "nothing twice"


def own_entries(reader: Any) -> list[Any]:
    with reader.rows() as ask:
        return [(text,) for (text,) in ask("SELECT entry FROM journal ORDER BY run, seq")]
