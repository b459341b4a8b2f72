"""What people do wrong with a hub, and what they are told: whose fault, and what to do."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from pitlogger.cli.fleet.uplink import described
from pitlogger.errors import DeliveryError, HubFullError, RefusedError, UsageError
from pitlogger.hub.database import SqliteDatabase
from pitlogger.hub.ingest import Ingest
from pitlogger.hub.nodes import Nodes
from pitlogger.uplink.https import _event
from pitlogger.uplink.join import full_address, join
from tests.fleet.made import key_and_uid

KEY, UID = key_and_uid(1)
CODE = "kq7m-x2pd-93vt-hwna"


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        (" kitchen.local ", "https://kitchen.local:8443"),
        ("https://kitchen.local:8443/", "https://kitchen.local:8443"),
        ("[2001:db8::7]", "https://[2001:db8::7]:8443"),
        ("2001:db8::7", "https://[2001:db8::7]:8443"),
        ("::1", "https://[::1]:8443"),
    ],
)
def test_an_address_is_understood_as_it_is_typed(typed: str, meant: str) -> None:
    assert full_address(typed) == meant


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("http://kitchen.local", "https://kitchen.local:8443"),
        ("kitchen.local:99999", "a port up to 65535"),
        ("https://kitchen.local/firm", "expected its name"),
        ("", "expected its name"),
        ("::::", "expected its name"),
    ],
)
def test_what_is_no_address_says_what_is(typed: str, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        full_address(typed)


async def test_the_port_of_the_page_is_told_from_the_port_of_the_hub(tmp_path: Path) -> None:
    async def page(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(100)
        writer.write(b"HTTP/1.1 400 Bad Request\r\ncontent-length: 0\r\n\r\n")
        writer.close()

    server = await asyncio.start_server(page, "127.0.0.1", 0)
    async with server:
        port = server.sockets[0].getsockname()[1]
        with pytest.raises(DeliveryError, match=r"no https.*its page's.*8443"):
            await join(
                f"127.0.0.1:{port}", CODE, tmp_path, Ed25519PrivateKey.generate(), "p-x", "pit"
            )


async def test_a_stolen_node_is_not_taken_back_like_a_retired_one(ingest: Ingest) -> None:
    nodes = Nodes(ingest.sink.database)
    nodes.set_state(UID, 1, "retired", 2, "owner")
    nodes.set_state(UID, 1, "enrolled", 3, "owner")
    nodes.set_state(UID, 1, "stolen", 4, "owner")
    for state in ("enrolled", "retired"):
        with pytest.raises(RefusedError, match=r"reported stolen.*a record and a key of its own"):
            nodes.set_state(UID, 1, state, 5, "owner")
    assert ingest.sink.node_of(UID).state == "stolen"  # type: ignore[union-attr]


def test_the_hubs_words_are_told_without_their_wrapping() -> None:
    event = _event("https://hub", 403, "", b'{"error":"node \'p-x\' is retired here"}')
    assert "take this node's records: node 'p-x' is retired here. " in str(event.fault)


def test_one_bundle_waits() -> None:
    found = {"uid": UID, "hub": "https://hub", "refused": 0, "contradicted": 0, "offered": 0,
             "fault": None}  # fmt: skip
    assert "\n1 bundle waits for its receipt" in described({**found, "waiting": 1})
    assert "\n2 bundles wait for their receipt" in described({**found, "waiting": 2})


def test_a_hub_whose_disk_is_full_says_what_to_do(tmp_path: Path) -> None:
    database = SqliteDatabase(tmp_path / "hub.db")
    nodes = Nodes(database)
    nodes.tenant("Meadow Catering")
    ((pages,),) = database.ask("PRAGMA page_count")
    database.ask(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(HubFullError, match=r"is full\. Make room on the hub's disk"):
        nodes.enrol(UID, KEY.public_key().public_bytes_raw(), "x" * 90_000, "m", "s", 1, "owner")
    database.close()
