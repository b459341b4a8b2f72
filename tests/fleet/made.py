"""A node's record and a hub, without a network: what both sides of the wire are made of."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from pitlogger.formats.bundle import Bundle, dump_bundle
from pitlogger.formats.cose import sign
from pitlogger.hub.nodes import Nodes
from pitlogger.hub.receive import ReceivedBundle, receive
from pitlogger.hub.writing import HubSink
from pitlogger.model.cooks import Cook, Piece, Stage
from pitlogger.model.journal import Body, CookFinished, CookStarted, Entry, Noted, StageSet, Weighed
from pitlogger.model.readings import Quality, Site, Tagged
from pitlogger.store import JournalRow, Reader, RunRow, Store
from pitlogger.uplink.contents import next_bundle
from pitlogger.uplink.position import Position

START_MS = 1_790_000_400_000  # a whole number of ten-minute blocks
WAIT_S = 20


def key_and_uid(seed: int) -> tuple[Ed25519PrivateKey, str]:
    """Return a key and the id that follows from it."""
    key = Ed25519PrivateKey.from_private_bytes(seed.to_bytes(32))
    digest = hashlib.sha256(key.public_key().public_bytes_raw()).digest()
    return key, f"p-{base64.b32encode(digest).decode()[:26].lower()}"


def readings(channel: str, seconds: int, from_s: int = 0) -> list[Tagged]:
    """Return a reading a second."""
    return [
        Tagged(channel, START_MS + s * 1000, 60_000 + s, 60_000 + s, Quality.GOOD, Site.CORE, None)
        for s in range(from_s, from_s + seconds)
    ]


def cook_bodies(name: str, bought_g: int = 6_300, served_g: int = 3_150) -> list[Body]:
    """Return what is decided in a small cook."""
    at = START_MS
    return [
        CookStarted(Cook(name=name, pieces=(Piece("brisket-1", "brisket-packer"),))),
        Weighed("brisket-1", "purchased", bought_g * 1000, 0, at),
        StageSet("brisket-1", Stage.SMOKING, at + 1000),
        Noted("lit with oak, wind from the west ☂"),
        StageSet("brisket-1", Stage.CARVED, at + 40_000_000),
        Weighed("brisket-1", "carved", served_g * 1000, 0, at + 40_000_000),
        CookFinished(name),
    ]


def make_store(
    path: Path, run: str = "k7qm-3v9xw2pd", *, channels: int = 2, seconds: int = 1500,
    bodies: list[Body] | None = None, cook: str = "supper", node: str = "trailer",
) -> Store:  # fmt: skip
    """Make a record with readings and the journal of a cook."""
    row = RunRow(run, node, "boot-1", START_MS, 5_000, "0.2.0")
    store = Store.open(path, row)
    for number in range(channels):
        store.describe(f"probe-{number}", "temperature")
        store.add_readings(readings(f"probe-{number}", seconds))
    said = cook_bodies(cook) if bodies is None else bodies
    rows = [
        JournalRow.of(Entry(run, seq, START_MS + seq * 1000, body, "AB", f"{run}-{seq}"), cook)
        for seq, body in enumerate(said, 1)
    ]
    store.append(rows).result(WAIT_S)
    store.flush().result(WAIT_S)
    return store


def bundles(reader: Reader, uid: str, position: Position | None = None) -> Iterator[Bundle]:
    """Yield all that a record holds after a position, as bundles."""
    at, number = position or Position(), 1
    while (found := next_bundle(reader, uid, number, at)) is not None:
        yield found.bundle
        at, number = found.after, number + 1


def messages(reader: Reader, key: Ed25519PrivateKey, uid: str) -> list[bytes]:
    """Return all that a record holds as signed messages."""
    return [sign(dump_bundle(bundle), key, uid) for bundle in bundles(reader, uid)]


def enrolled(sink: HubSink, key: Ed25519PrivateKey, uid: str, site: str = "yard") -> None:
    """Take a node in."""
    public = key.public_key().public_bytes_raw()
    Nodes(sink.database).enrol(uid, public, "trailer", "own", site, 1, "test")


def received(sink: HubSink, uid: str, sent: list[bytes]) -> list[ReceivedBundle]:
    """Return messages as received."""
    return [receive(uid, message, sink.node_of) for message in sent]
