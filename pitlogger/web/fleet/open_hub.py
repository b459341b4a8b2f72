"""A hub at work: its database, its ingest, who it lets in. Within a node, or by itself."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from pitlogger.clock import utc_ms
from pitlogger.errors import BundleError, RefusedError
from pitlogger.formats.cose import read_cbor, read_signed, verify
from pitlogger.hub import invitations
from pitlogger.hub.authority import HubIdentity, hub_identity
from pitlogger.hub.certificates import certifier, certify
from pitlogger.hub.fold import fold_cooks
from pitlogger.hub.ingest import Ingest
from pitlogger.hub.nodes import Nodes
from pitlogger.hub.receive import NotEnrolledError
from pitlogger.hub.writing import BatchOutcome, HubSink
from pitlogger.node.identity import uid_of

Found = TypeVar("Found")


@dataclass(slots=True)
class OpenHub:
    """A hub that takes records in.

    ``ask`` and ``change`` run beside the loop, between batches, on the hub's one connection.

    Attributes:
        firm: Whose questions are answered where nobody says for whom.
        address: Where nodes join; ``broker`` is where they then send to, if not there.
    """

    ingest: Ingest
    identity: HubIdentity
    folder: Path
    firm: str
    tenant: int
    address: str = ""
    broker: str = ""

    @property
    def id(self) -> str:
        """The hub's id."""
        return self.ingest.sink.hub

    async def ask(self, question: Callable[..., Found], *given: Any) -> Found:
        """Put a question of ``hub/questions.py`` with the firm and what else it wants."""
        return await self.ingest.do(lambda sink: question(sink.database, self.tenant, *given))

    async def invite(self, site: str, who: str) -> str:
        """Return a code by which a node joins."""
        return await self.ingest.do(lambda sink: invitations.invite(
            sink.database, self.identity.authority, self.firm, site, utc_ms(), who
        ))  # fmt: skip

    async def set_state(self, uid: str, state: Any, who: str) -> None:
        """Retire a node, report it stolen, or take it back."""
        await self.ingest.do(
            lambda sink: Nodes(sink.database).set_state(uid, self.tenant, state, utc_ms(), who)
        )

    async def take_in(self, message: bytes) -> dict[str, str]:
        """Let a node join that brings a good code.

        Raises:
            RefusedError: The code is not good, or the request is not signed by the node it names.
        """
        said, key = _read_request(message)

        def enrol(sink: HubSink) -> dict[str, str]:
            invited = invitations.accept(sink.database, str(said["secret"]), utc_ms())
            node = Nodes(sink.database).enrol(
                str(said["node"]), key, str(said["name"])[:64], invited.tenant, invited.site,
                utc_ms(), "code",
            )  # fmt: skip
            pem = certify(sink.database, self.folder, node, datetime.now(UTC))
            return {"hub": sink.hub, "tenant": invited.tenant, "site": invited.site,
                    "certificate": pem, "broker": self.broker}  # fmt: skip

        return await self.ingest.do(enrol)

    async def renew(self, uid: str, message: bytes) -> str:
        """Return a new certificate for a node that is enrolled and asks with its own key.

        Raises:
            NotEnrolledError: It is not, or no more.
            BundleError: Not such a request, or another's.
        """

        def renewed(sink: HubSink) -> str:
            node = sink.node_of(uid)
            if node is None or node.state != "enrolled":
                raise NotEnrolledError(f"node {uid} is not enrolled here")
            signed = read_signed(message)
            payload = verify(signed, Ed25519PublicKey.from_public_bytes(node.public_key))
            said = read_cbor(payload)
            if signed.key_id != uid or said != {"v": 1, "node": uid, "renew": True}:
                raise BundleError("not a request for a new certificate")
            return certify(sink.database, self.folder, node, datetime.now(UTC))

        return await self.ingest.do(renewed)


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
async def open_hub(sink: HubSink, folder: Path, firm: str) -> AsyncIterator[OpenHub]:
    """Open a hub while the context is open. ``folder`` holds its authority; made if needed."""
    identity = hub_identity(folder, datetime.now(UTC))

    def folded(outcome: BatchOutcome, at_ms: int) -> None:
        fold_cooks(sink.database, outcome)

    ingest = Ingest(sink, utc_ms, folded, certify=certifier(sink.database, folder))
    running = asyncio.create_task(ingest.run(), name="hub-ingest")
    try:
        tenant = await ingest.do(lambda sink: Nodes(sink.database).tenant(firm))
        yield OpenHub(ingest, identity, folder, firm, tenant)
    finally:
        running.cancel()
        with suppress(asyncio.CancelledError):
            await running
        ingest.stop()
        sink.database.close()
