"""A hub by itself, on a server: ingesters from a broker, and the port where nodes join."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import AsyncExitStack
from pathlib import Path

from pitlogger.config import parse_config
from pitlogger.hub.broker import BrokerIngest
from pitlogger.hub.ingest import collect_rarely
from pitlogger.hub.opening import open_sink
from pitlogger.web.access.access import Access
from pitlogger.web.access.door import NETWORK, with_room
from pitlogger.web.fleet.firm_page import make_firm_page
from pitlogger.web.fleet.open_hub import open_hub
from pitlogger.web.fleet.receiving import make_receiving
from pitlogger.web.serve import running
from pitlogger.web.sockets import tcp_socket

Told = Callable[[str], None]


async def run_ingest(database: str, folder: Path, firm: str, broker: str, told: Told) -> None:
    """Take bundles from a broker until cancelled. Any number of these may run at once."""
    collect_rarely()
    async with open_hub(open_sink(database), folder, firm) as hub:
        await BrokerIngest(hub.ingest, broker, folder).run(
            lambda: told(f"takes bundles from {broker}")
        )


async def run_web(
    database: str, folder: Path, firm: str, address: str, port: int, page_port: int, broker: str,
    told: Told,
) -> None:  # fmt: skip
    """Let nodes join and send by HTTPS, and show the firm's page, until cancelled."""
    access = Access(parse_config(f'[node]\ndata = "{folder}"\n'))
    async with AsyncExitStack() as stack:
        listening = stack.enter_context(tcp_socket("0.0.0.0", port))  # noqa: S104
        pages = stack.enter_context(tcp_socket("0.0.0.0", page_port))  # noqa: S104
        hub = await stack.enter_async_context(open_hub(open_sink(database), folder, firm))
        host = address.removeprefix("https://").partition(":")[0]
        hub.address = f"https://{host}:{listening.getsockname()[1]}"
        hub.broker = broker
        await hub.ingest.do(lambda sink: sink.note_address(hub.address, hub.identity.authority))
        tls = (hub.identity.certificate, hub.identity.key)
        for app, socket in ((make_receiving(hub), listening), (make_firm_page(hub), pages)):
            await stack.enter_async_context(running(app, socket, access, with_room(NETWORK), tls))
        told(f"nodes join at {hub.address}, the page is https://{host}:{pages.getsockname()[1]}")
        await asyncio.Event().wait()
