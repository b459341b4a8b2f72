"""The hub inside a node: in a file beside its record, with its own records in it."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

from pitlogger.clock import utc_ms
from pitlogger.errors import DeliveryError, HubFullError, PitloggerError
from pitlogger.hub.database import SqliteDatabase
from pitlogger.hub.ingest import Ingest
from pitlogger.hub.nodes import Nodes
from pitlogger.hub.writing import HubSink
from pitlogger.node.identity import node_key
from pitlogger.uplink.carrier import CarrierEvent
from pitlogger.views.node import Node
from pitlogger.web.fleet.open_hub import OpenHub, open_hub


@asynccontextmanager
async def embedded_hub(node: Node) -> AsyncIterator[OpenHub]:
    """Open the hub of a node while the context is open; the node's own records go into it too."""
    table, data = node.config.hub, node.config.node.data
    async with open_hub(HubSink(SqliteDatabase(data / "hub.db")), data, table.firm) as hub:
        own = node_key(data).public_key().public_bytes_raw()
        await hub.ingest.do(lambda sink: Nodes(sink.database).enrol(
            node.uid, own, node.config.node.name, table.firm, table.site, utc_ms(), "start"
        ))  # fmt: skip
        if not node.uplinking.is_on:
            own_way = OwnCarrier(hub.ingest, node.uid)
            node.uplinking.start_with(own_way, hub.id, "this node", table.firm)
        yield hub


class OwnCarrier:
    """Carries a node's bundles to the hub in the same process."""

    def __init__(self, ingest: Ingest, uid: str) -> None:
        self.report: Callable[[CarrierEvent], None] = lambda event: None
        self._ingest = ingest
        self._uid = uid
        self._sending: set[asyncio.Task[None]] = set()

    async def run(self) -> None:
        """Nothing has to be kept open."""
        try:
            await asyncio.Event().wait()
        finally:
            for task in self._sending:
                task.cancel()

    def send(self, number: int, body: bytes) -> None:
        """Hand a bundle over; see ``uplink/carrier.py``."""
        task = asyncio.create_task(self._submit(body), name=f"uplink-{number}")
        self._sending.add(task)
        task.add_done_callback(self._sending.discard)

    async def _submit(self, body: bytes) -> None:
        try:
            self.report(CarrierEvent(answer=await self._ingest.submit(self._uid, body)))
        except HubFullError as fault:
            self.report(CarrierEvent(fault=DeliveryError(str(fault)), retry_s=30.0))
        except PitloggerError as fault:
            self.report(CarrierEvent(fault=DeliveryError(str(fault))))
