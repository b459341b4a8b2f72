"""A daemon in this process, reached as the network and as the Unix socket reach it."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest_asyncio

from pitlogger.clock import ManualClock, utc_ms
from pitlogger.config import parse_config
from pitlogger.node.daemon import Daemon
from pitlogger.web.access.access import Access
from pitlogger.web.access.roles import Role
from pitlogger.web.app import make_apps

BASE = "http://pit.test:8130"
START_MS = 1_790_000_000_000
COOK = """
[cook]
name = "supper"
[[piece]]
id = "brisket-1"
cut = "brisket-packer"
[[channel]]
id = "pit"
site = "pit"
low = "210F"
high = "290F"
[[channel]]
id = "brisket-1/core"
site = "core"
piece = "brisket-1"
[[channel]]
id = "bench-scale"
site = "bench"
"""


@dataclass(slots=True)
class Node:
    """A daemon with its gates; ``network`` is a client without a key."""

    daemon: Daemon
    clock: ManualClock
    access: Access
    network: httpx.AsyncClient
    local: httpx.AsyncClient

    def cookie(self, role: Role = Role.OWNER) -> dict[str, str]:
        """Return headers of a paired phone that writes from the page itself."""
        _, key = self.access.keys.add("phone", "kitchen", "AK", role, utc_ms())
        return {"Cookie": f"pitlogger={key}", "Origin": BASE}

    async def begin(self) -> None:
        """Start a cook."""
        answer = await self.local.post("/api/v1/cooks", json={"toml": COOK})
        answer.raise_for_status()


def config_text(folder: Path, more: str = "") -> str:
    return (
        f'[node]\nname = "barn"\ndata = "{folder}"\n[web]\nnames = ["pit.test"]\nport = 0\n{more}'
    )


@pytest_asyncio.fixture
async def node(tmp_path: Path) -> AsyncIterator[Node]:
    async with make_node(tmp_path) as made:
        yield made


class make_node:
    """Open a node over a data folder, as an async context manager."""

    def __init__(self, folder: Path, more: str = "") -> None:
        self._config = parse_config(config_text(folder, more))

    async def __aenter__(self) -> Node:
        clock = ManualClock(START_MS)
        self._daemon = Daemon(self._config, clock=clock)
        await self._daemon.__aenter__()
        access = Access(self._config)
        local, network = make_apps(self._daemon, access, f"{BASE}/")
        made = Node(
            self._daemon,
            clock,
            access,
            httpx.AsyncClient(transport=httpx.ASGITransport(network), base_url=BASE),
            httpx.AsyncClient(transport=httpx.ASGITransport(local), base_url="http://pitlogger"),
        )
        self._node = made
        return made

    async def __aexit__(self, *error: object) -> None:
        await self._node.network.aclose()
        await self._node.local.aclose()
        await self._daemon.__aexit__(None, None, None)
