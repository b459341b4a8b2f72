"""Who belongs to the hub: firms (tenants), their sites, the nodes there; each change is noted."""

from __future__ import annotations

import sqlite3
from typing import Literal

from pitlogger.errors import RefusedError, UsageError
from pitlogger.hub.receive import NodeRow

STATES = ("enrolled", "retired", "stolen")


class Nodes:
    """Changes who belongs, inside the hub's SQLite file."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def enrol(
        self, uid: str, public_key: bytes, name: str, tenant: str, site: str, at_ms: int, who: str
    ) -> NodeRow:
        """Take a node in, or back in; one known before keeps the firm that its records are of.

        Raises:
            RefusedError: Another key has this id, it was reported stolen, or is another firm's.
        """
        known = self._connection.execute(
            "SELECT node.id, public_key, state, tenant.name FROM node"
            " JOIN tenant ON tenant.id = node.tenant WHERE uid = ?", (uid,),
        ).fetchone()  # fmt: skip
        if known is not None and known[1] != public_key:
            raise RefusedError(f"node {uid} is known by another key")
        if known is not None and known[2] == "stolen":
            raise RefusedError(f"node {uid} was reported stolen: it is not taken in again")
        if known is not None and known[3] != tenant:
            raise RefusedError(
                f"node {uid} belongs to {known[3]}; its records stay there."
                " For another firm, begin a new record on it (a new folder [node] data)"
            )
        with self._connection:
            self._connection.execute("BEGIN IMMEDIATE")
            tenant_id = self._tenant(tenant)
            site_id = self._site(tenant_id, site)
            if known is None:
                self._connection.execute(
                    "INSERT INTO node (uid, tenant, site, name, public_key, state, enrolled_ms)"
                    " VALUES (?, ?, ?, ?, ?, 'enrolled', ?)",
                    (uid, tenant_id, site_id, name, public_key, at_ms),
                )
            else:
                self._connection.execute(
                    "UPDATE node SET site = ?, state = 'enrolled', enrolled_ms = ? WHERE id = ?",
                    (site_id, at_ms, known[0]),
                )
            self._note(at_ms, who, f"enrolled {uid} ({name}) at {tenant}, {site}")
        row = self._connection.execute(
            "SELECT id, uid, tenant, site, name, public_key, state FROM node WHERE uid = ?", (uid,)
        ).fetchone()
        return NodeRow(*row)

    def set_state(
        self, uid: str, state: Literal["enrolled", "retired", "stolen"], at_ms: int, who: str
    ) -> None:
        """Retire a node, report it stolen, or take a retired one back; from its next bundle on.

        Raises:
            UsageError: No such node.
        """
        with self._connection:
            self._connection.execute("BEGIN IMMEDIATE")
            found = self._connection.execute(
                "UPDATE node SET state = ? WHERE uid = ?", (state, uid)
            ).rowcount
            if not found:
                raise UsageError(f"no node {uid} here: 'pitlogger hub status' lists them")
            self._note(at_ms, who, f"{state} {uid}")

    def _tenant(self, name: str) -> int:
        self._connection.execute(
            "INSERT INTO tenant (name) VALUES (?) ON CONFLICT DO NOTHING", (name,)
        )
        found: int = self._connection.execute(
            "SELECT id FROM tenant WHERE name = ?", (name,)
        ).fetchone()[0]
        return found

    def _site(self, tenant: int, name: str) -> int:
        self._connection.execute(
            "INSERT INTO site (tenant, name) VALUES (?, ?) ON CONFLICT DO NOTHING", (tenant, name)
        )
        found: int = self._connection.execute(
            "SELECT id FROM site WHERE tenant = ? AND name = ?", (tenant, name)
        ).fetchone()[0]
        return found

    def _note(self, at_ms: int, who: str, did: str) -> None:
        self._connection.execute(
            "INSERT INTO audit (at_ms, who, did) VALUES (?, ?, ?)", (at_ms, who, did)
        )
