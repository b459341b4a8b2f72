"""Who belongs to the hub: firms (tenants), their sites, the nodes there; each change is noted."""

from __future__ import annotations

from typing import Literal

from pitlogger.errors import RefusedError, UsageError
from pitlogger.hub.database import Database
from pitlogger.hub.members import note
from pitlogger.hub.receive import NODES, NodeRow

STATES = ("enrolled", "retired", "stolen")


class Nodes:
    """Changes who belongs."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def enrol(
        self, uid: str, public_key: bytes, name: str, tenant: str, site: str, at_ms: int, who: str
    ) -> NodeRow:
        """Take a node in, or back in; one known before keeps the firm that its records are of.

        Raises:
            RefusedError: Another key has this id, it was reported stolen, or is another firm's.
        """
        known = self._database.ask(
            "SELECT node.id, public_key, state, tenant.name FROM node"
            " JOIN tenant ON tenant.id = node.tenant WHERE uid = ?", (uid,),
        )  # fmt: skip
        for _, key, state, firm in known:
            if key != public_key:
                raise RefusedError(f"node {uid} is known by another key")
            if state == "stolen":
                raise _stolen(uid)
            if firm != tenant:
                raise RefusedError(
                    f"node {uid} belongs to {firm}; its records stay there."
                    " For another firm, begin a new record on it (a new folder [node] data)"
                )
        with self._database.transaction():
            tenant_id = self.tenant(tenant)
            site_id = self._site(tenant_id, site)
            if known:
                self._database.run(
                    "UPDATE node SET site = ?, state = 'enrolled', enrolled_ms = ? WHERE uid = ?",
                    (site_id, at_ms, uid),
                )
            else:
                self._database.run(
                    "INSERT INTO node (uid, tenant, site, name, public_key, state, enrolled_ms)"
                    " VALUES (?, ?, ?, ?, ?, 'enrolled', ?)",
                    (uid, tenant_id, site_id, name, public_key, at_ms),
                )
            note(self._database, at_ms, who, f"enrolled {uid} ({name}) at {tenant}, {site}")
        return NodeRow(*self._database.ask(NODES.format("?"), (uid,))[0])

    def set_state(
        self, uid: str, tenant: int, state: Literal["enrolled", "retired", "stolen"],
        at_ms: int, who: str,
    ) -> None:  # fmt: skip
        """Retire a node, report it stolen, or take a retired one back; from its next bundle on.

        Raises:
            UsageError: The firm has no such node.
            RefusedError: It was reported stolen, for good.
        """
        with self._database.transaction():
            if state != "stolen" and self._database.ask(
                "SELECT 1 FROM node WHERE uid = ? AND tenant = ? AND state = 'stolen'",
                (uid, tenant),
            ):
                raise _stolen(uid)
            found = self._database.run(
                "UPDATE node SET state = ? WHERE uid = ? AND tenant = ?", (state, uid, tenant)
            )
            if not found:
                raise UsageError(f"no node {uid} here: 'pitlogger hub status' lists them")
            note(self._database, at_ms, who, f"{state} {uid}")

    def tenant(self, name: str) -> int:
        """Return the number of a firm, made where there is none of this name."""
        self._database.run("INSERT INTO tenant (name) VALUES (?) ON CONFLICT DO NOTHING", (name,))
        found: int = self._database.ask("SELECT id FROM tenant WHERE name = ?", (name,))[0][0]
        return found

    def _site(self, tenant: int, name: str) -> int:
        self._database.run(
            "INSERT INTO site (tenant, name) VALUES (?, ?) ON CONFLICT DO NOTHING", (tenant, name)
        )
        found: int = self._database.ask(
            "SELECT id FROM site WHERE tenant = ? AND name = ?", (tenant, name)
        )[0][0]
        return found


def _stolen(uid: str) -> RefusedError:
    return RefusedError(
        f"node {uid} was reported stolen: it is not taken in again. Found, or reported by mistake,"
        " it begins a record and a key of its own (a new folder [node] data) and joins by a code"
    )
