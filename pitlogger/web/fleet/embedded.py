"""The hub inside a node: its database, its ingest, its codes, and its own records in it."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, TypeVar

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from pitlogger.errors import BundleError, DeliveryError, HubFullError, PitloggerError, RefusedError
from pitlogger.formats.cose import read_cbor, read_signed, verify
from pitlogger.hub.authority import Identity, hub_identity
from pitlogger.hub.database import SqliteDatabase
from pitlogger.hub.fold import fold_cooks
from pitlogger.hub.ingest import Ingest
from pitlogger.hub.invitations import Invitations
from pitlogger.hub.nodes import Nodes
from pitlogger.hub.writing import Outcome, Sink
from pitlogger.node.identity import node_key, uid_of
from pitlogger.uplink.carrier import Event
from pitlogger.views.node import Node
from pitlogger.web.fleet.api import wall_ms

Found = TypeVar("Found")

TENANT = 1  # an embedded hub is of one firm


@dataclass(slots=True)
class EmbeddedHub:
    """One firm's hub.

    ``ask`` and ``change`` run beside the loop, between batches, on the hub's one connection.
    """

    ingest: Ingest
    invitations: Invitations
    identity: Identity
    firm: str
    address: str = ""

    @property
    def id(self) -> str:
        """The hub's id."""
        return self.ingest.sink.hub

    async def ask(self, question: Callable[..., Found], *given: Any) -> Found:
        """Put a question of ``hub/questions.py`` with the firm and what else it wants."""
        return await self.ingest.do(lambda sink: question(sink.database, TENANT, *given))

    async def set_state(self, uid: str, state: Any, who: str) -> None:
        """Retire a node, report it stolen, or take it back."""
        await self.ingest.do(
            lambda sink: Nodes(sink.database).set_state(uid, state, wall_ms(), who)
        )

    async def take_in(self, message: bytes) -> dict[str, str]:
        """Let a node join that brings a good code.

        Raises:
            RefusedError: The code is not good, or the request is not signed by the node it names.
        """
        said, key = _read_request(message)
        invited = self.invitations.accept(str(said["secret"]), wall_ms())
        await self.enrol(str(said["node"]), key, str(said["name"])[:64], invited.site)
        return {"hub": self.id, "tenant": invited.tenant, "site": invited.site}

    async def enrol(self, uid: str, key: bytes, name: str, site: str) -> None:
        """Take a node in at a site."""
        await self.ingest.do(
            lambda sink: Nodes(sink.database).enrol(
                uid, key, name, self.firm, site, wall_ms(), "code"
            )
        )


def _read_request(message: bytes) -> tuple[dict[str, Any], bytes]:
    """Return what a node asks and its key, once its signature and its id fit that key."""
    try:
        signed = read_signed(message)
        said = read_cbor(signed.payload)
        key = said["key"]
        verify(signed, Ed25519PublicKey.from_public_bytes(key))
        if said["v"] != 1 or not {"node", "name", "secret"} <= said.keys():
            raise BundleError("another version, or a part is missing")
        if uid_of(key) != said["node"]:
            raise BundleError("the id is not that of the key")
    except (BundleError, KeyError, TypeError, ValueError, AttributeError) as fault:
        raise RefusedError(f"not a request to join: {fault}") from None
    return dict(said), key


@asynccontextmanager
async def embedded_hub(node: Node) -> AsyncIterator[EmbeddedHub]:
    """Open the hub of a node while the context is open; the node's own records go into it too."""
    table, data = node.config.hub, node.config.node.data
    identity = hub_identity(data, datetime.now(UTC))
    database = SqliteDatabase(data / "hub.db")

    def folded(outcome: Outcome, at_ms: int) -> None:
        fold_cooks(database, outcome)

    ingest = Ingest(Sink(database), wall_ms, folded)
    hub = EmbeddedHub(ingest, Invitations(identity.authority), identity, table.firm)
    running = asyncio.create_task(ingest.run(), name="hub-ingest")
    try:
        own = node_key(data).public_key().public_bytes_raw()
        await hub.enrol(node.uid, own, node.config.node.name, table.site)
        if not node.uplinking.is_on:
            node.uplinking.start_with(OwnCarrier(ingest, node.uid), hub.id, "this node")
        yield hub
    finally:
        running.cancel()
        with suppress(asyncio.CancelledError):
            await running
        ingest.stop()
        database.close()


class OwnCarrier:
    """Carries a node's bundles to the hub in the same process."""

    def __init__(self, ingest: Ingest, uid: str) -> None:
        self.report: Callable[[Event], None] = lambda event: None
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

    async def send(self, number: int, body: bytes) -> None:
        """Hand a bundle over; see ``uplink/carrier.py``."""
        task = asyncio.create_task(self._submit(body), name=f"uplink-{number}")
        self._sending.add(task)
        task.add_done_callback(self._sending.discard)

    async def _submit(self, body: bytes) -> None:
        try:
            self.report(Event(answer=await self._ingest.submit(self._uid, body)))
        except HubFullError as fault:
            self.report(Event(fault=DeliveryError(str(fault)), retry_s=30.0))
        except PitloggerError as fault:
            self.report(Event(fault=DeliveryError(str(fault))))
