"""Two daemons over real TLS: one is the hub, the other joins it by a code; nothing to install."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest

from pitlogger.config import parse_config
from pitlogger.engine.inputs import Command
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import CookStarted, StageSet, TroubleChanged
from pitlogger.node.daemon import Daemon
from pitlogger.uplink.joined import JOINED_FILE
from pitlogger.web.serve import serving

COOK = """
[cook]
name = "orchard lunch"
[[piece]]
id = "butt-1"
cut = "pork-butt"
"""


class Running:
    """A daemon that is served, and a client of its socket."""

    def __init__(self, daemon: Daemon, client: httpx.AsyncClient) -> None:
        self.daemon, self.client = daemon, client

    async def get(self, path: str) -> Any:
        answer = await self.client.get(f"/api/v1{path}")
        assert answer.is_success, answer.text
        return answer.json()

    async def post(self, path: str, **body: Any) -> httpx.Response:
        return await self.client.post(f"/api/v1{path}", json=body)

    def say(self, body: Any) -> None:
        self.daemon.feed(Command(self.daemon.clock.engine_ms(), body))


@asynccontextmanager
async def running(folder: Path, name: str, more: str = "") -> AsyncIterator[Running]:
    config = parse_config(
        f'[node]\nname = "{name}"\ndata = "{folder}"\nsocket = "{folder}/s"\n'
        f"[web]\nenabled = false\n{more}"
    )
    async with Daemon(config) as daemon, serving(daemon):
        transport = httpx.AsyncHTTPTransport(uds=str(folder / "s"))
        async with httpx.AsyncClient(transport=transport, base_url="http://pitlogger") as client:
            yield Running(daemon, client)


HUB = (
    '[hub]\nenabled = true\nhost = "127.0.0.1"\nport = 0\nfirm = "Meadow Catering"\nsite = "yard"\n'
)


@pytest.fixture
async def pair(tmp_path: Path) -> AsyncIterator[tuple[Running, Running]]:
    async with AsyncExitStack() as stack:
        hub = await stack.enter_async_context(running(tmp_path / "hub", "smokehouse", HUB))
        node = await stack.enter_async_context(running(tmp_path / "node", "trailer"))
        yield hub, node


async def invited(hub: Running, site: str = "fair") -> tuple[str, str]:
    made = (await hub.post("/hub/invitations", site=site)).json()
    port = made["address"].rpartition(":")[2]
    return f"https://127.0.0.1:{port}", made["code"]


@pytest.mark.slow
async def test_a_node_joins_by_a_code_and_its_cook_is_seen(
    pair: tuple[Running, Running], tmp_path: Path
) -> None:
    hub, node = pair
    node.say(CookStarted(parse_cook(COOK)))
    node.say(StageSet("butt-1", Stage.SMOKING, node.daemon.clock.engine_ms()))
    address, code = await invited(hub)
    joined = await node.post("/uplink/join", hub=address, code=code.upper().replace("-", " "))
    assert joined.json()["tenant"] == "Meadow Catering"
    assert joined.json()["site"] == "fair"

    async def nodes() -> dict[str, Any]:
        return {row["name"]: row for row in await hub.get("/hub/nodes")}

    async def standing() -> dict[str, Any]:
        return {row["name"]: row for row in await hub.get("/hub/now")}

    async def has_come() -> bool:
        known = await nodes()
        return known["trailer"]["entries"] >= 2 and len(await standing()) == 2

    await _until(has_come)
    pieces = (await standing())["trailer"]["document"]["pieces"]
    assert [(piece["id"], piece["stage"]) for piece in pieces] == [("butt-1", "smoking")]
    assert (await nodes())["smokehouse"]["site"] == "yard", "the hub is a pit too"

    node.say(TroubleChanged("disk-low", "node", True, "2 GB are free", "make room"))

    async def alarm_is_seen() -> bool:
        return any(row["kind"] == "disk-low" for row in await hub.get("/hub/exceptions"))

    await _until(alarm_is_seen)
    again = await node.post("/uplink/join", hub=address, code=code)
    assert again.status_code == 409
    assert "used once" in again.json()["error"]


@pytest.mark.slow
async def test_what_was_joined_outlasts_a_restart_and_a_stolen_node_is_refused(
    pair: tuple[Running, Running], tmp_path: Path
) -> None:
    hub, node = pair
    address, code = await invited(hub)
    await node.post("/uplink/join", hub=address, code=code)
    uid = node.daemon.uid
    await node.daemon.uplinking.stop()
    assert (tmp_path / "node" / JOINED_FILE).exists()
    node.daemon.uplinking.start()
    assert (await node.get("/uplink"))["hub"] == address
    assert (await hub.post(f"/hub/nodes/{uid}", state="stolen")).is_success
    node.say(TroubleChanged("disk-low", "node", True, "2 GB are free", "make room"))

    async def is_refused() -> bool:
        return "stolen" in str((await node.get("/uplink"))["fault"])

    await _until(is_refused)
    _, code = await invited(hub)
    taken = await node.post("/uplink/join", hub=address, code=code)
    assert taken.status_code == 409
    assert "reported stolen" in taken.json()["error"]


@pytest.mark.slow
async def test_mistyped_and_wrong_codes_are_refused_in_words(
    pair: tuple[Running, Running],
) -> None:
    hub, node = pair
    address, code = await invited(hub)
    short = await node.post("/uplink/join", hub=address, code="kq7m")
    assert short.status_code == 400
    assert "16 letters" in short.json()["error"]
    other = ("2" if code[0] != "2" else "3") + code[1:]
    wrong_hub = await node.post("/uplink/join", hub=address, code=other)
    assert wrong_hub.status_code == 409
    assert "is not the hub this code is of" in wrong_hub.json()["error"]
    last = code[:-1] + ("2" if code[-1] != "2" else "3")
    for _ in range(5):
        refused = await node.post("/uplink/join", hub=address, code=last)
        assert "not good" in refused.json()["error"]
    assert (await node.post("/uplink/join", hub=address, code=code)).status_code == 409, "used up"
    nobody = await node.post("/uplink/join", hub="http://kitchen", code=code)
    assert "is no address of a hub" in nobody.json()["error"]
    assert (await node.post("/hub/invitations", site="x")).status_code == 409


@pytest.mark.slow
async def test_strangers_change_nothing(pair: tuple[Running, Running]) -> None:
    hub, _ = pair
    address, _ = await invited(hub)
    async with httpx.AsyncClient(verify=False) as stranger:
        for method, path, body in [
            ("POST", "/fleet/1/p-nobody/up", b"x"),
            ("POST", "/fleet/1/join", b"\x00" * 100),
            ("POST", "/fleet/1/join", b"\x00" * 9000),
            ("POST", f"/fleet/1/{hub.daemon.uid}/up", b"\x00" * 400_000),
            ("GET", "/api/v1/status", b""),
        ]:
            answer = await stranger.request(method, address + path, content=body)
            assert answer.status_code in (403, 404, 413), path
        forged = await stranger.post(f"{address}/fleet/1/{hub.daemon.uid}/up", content=b"x")
        assert forged.json()["refused"]
    assert len(await hub.get("/hub/nodes")) == 1


async def _until(true: Any, seconds: float = 20) -> None:
    async with asyncio.timeout(seconds):
        while not await true():  # noqa: ASYNC110 - what is waited for has no event
            await asyncio.sleep(0.05)
