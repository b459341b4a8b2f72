"""A message from the network becomes a bundle of a node that is enrolled, or a reason."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from pitlogger.errors import BundleError
from pitlogger.formats.bundle import MOST_BYTES, Bundle, load_bundle
from pitlogger.formats.cose import read_cbor, read_signed, verify

ROOM_FOR_SIGNATURE = 512
UID = re.compile(r"p-[a-z2-7]{26}")
NODES = (
    "SELECT id, uid, tenant, site, name, public_key, state, cert_until_ms, cloned_ms FROM node"
    " WHERE uid IN ({})"
)

DAY_MS = 86_400_000


@dataclass(frozen=True, slots=True)
class NodeRow:
    """A node that the hub knows."""

    id: int
    uid: str
    tenant: int
    site: int
    name: str
    public_key: bytes
    state: str  # enrolled, retired, stolen
    cert_until_ms: int | None = None
    cloned_ms: int | None = None  # when two nodes were last seen to use its key

    def is_cloned(self, now_ms: int) -> bool:
        """Return whether two nodes used its key within the last day."""
        return self.cloned_ms is not None and now_ms - self.cloned_ms < DAY_MS


@dataclass(frozen=True, slots=True)
class ReceivedBundle:
    """A bundle whose signature fits, with the node it is from and the message as it came."""

    node: NodeRow
    bundle: Bundle
    message: bytes


@dataclass(frozen=True, slots=True)
class Aside:
    """A message that is set aside, for good: what it claimed to be, and why."""

    uid: str
    number: int | None
    reason: str
    message: bytes


class NotEnrolledError(BundleError):
    """The node is unknown here, retired, or reported stolen."""


class RefusedBundleError(BundleError):
    """Signed by its node and of no use; ``number`` is that of the bundle, if it can be read."""

    def __init__(self, number: int | None, reason: str) -> None:
        super().__init__(reason)
        self.number = number


def receive(uid: str, message: bytes, node_of: Callable[[str], NodeRow | None]) -> ReceivedBundle:
    """Return the bundle that a message brings.

    Args:
        uid: The node it came for: of the address, the topic, the certificate.
        node_of: Of nodes as they are now, so that who is revoked is refused at once.

    Raises:
        NotEnrolledError: From a node whose records are not taken.
        BundleError: Not a bundle, or not from that node.
        HubFullError: A bundle that is not for this version of the hub.
    """
    if len(message) > MOST_BYTES + ROOM_FOR_SIGNATURE:
        raise BundleError(f"{len(message)} bytes; a bundle has {MOST_BYTES} at most")
    node = node_of(uid)
    if node is None or node.state != "enrolled":
        raise NotEnrolledError(
            f"node {uid[:64]!a} is {'not enrolled' if node is None else node.state} here"
        )
    signed = read_signed(message)
    if signed.key_id != uid:
        raise BundleError(f"signed for {signed.key_id!a}, sent as {uid}")
    payload = verify(signed, Ed25519PublicKey.from_public_bytes(node.public_key))
    try:
        bundle = load_bundle(payload)
        if bundle.node != uid:
            raise BundleError(f"the bundle is of {bundle.node[:64]!a}, sent as {uid}")
    except BundleError as fault:
        raise RefusedBundleError(_number_of(payload), str(fault)) from None
    return ReceivedBundle(node, bundle, message)


def _number_of(payload: bytes) -> int | None:
    """Return the number of a bundle that cannot be used, so that its node can go on without it."""
    try:
        number = read_cbor(payload)["n"]
    except (BundleError, KeyError, TypeError):
        return None
    return number if type(number) is int and 0 < number < 1 << 62 else None
