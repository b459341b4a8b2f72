"""Codes given out to nodes that may join: good once, for 15 minutes, for five tries.

Of a code's secret half the database holds the digest alone.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass

from pitlogger.errors import RefusedError, UsageError
from pitlogger.formats.join_code import HALF, authority_letters, written_code
from pitlogger.formats.secret import digest
from pitlogger.hub.database import Database
from pitlogger.hub.members import note
from pitlogger.model.entry_ids import ALPHABET

GOOD_FOR_MS = 15 * 60_000
TRIES = 5
MOST_LETTERS = 64  # of a site's name


@dataclass(frozen=True, slots=True)
class Invitation:
    """Where the node that brings a code will belong."""

    tenant: str
    site: str


def invite(
    database: Database, authority: bytes, tenant: str, site: str, now_ms: int, who: str
) -> str:
    """Return a new code for a node of a site.

    Raises:
        UsageError: No name of a site.
    """
    if not 1 <= len(site) <= MOST_LETTERS or not site.isprintable() or site != site.strip():
        raise UsageError(f"{site!r} is no name of a site: expected 1 to {MOST_LETTERS} letters")
    secret = "".join(secrets.choice(ALPHABET) for _ in range(HALF))
    with database.transaction():
        database.run(
            "INSERT INTO invitation (secret, tenant, site, until_ms, tries) VALUES (?, ?, ?, ?, ?)",
            (digest(secret), tenant, site, now_ms + GOOD_FOR_MS, TRIES),
        )
        note(database, now_ms, who, f"made a code for a node at {tenant}, {site}")
    return written_code(authority_letters(authority), secret)


def accept(database: Database, secret: str, now_ms: int) -> Invitation:
    """Take a code in and return what it is for; it is used up.

    Raises:
        RefusedError: None such, too late, or tried too often.
    """
    with database.transaction():
        database.run("DELETE FROM invitation WHERE until_ms <= ? OR tries <= 0", (now_ms,))
        found = database.ask(
            "DELETE FROM invitation WHERE secret = ? RETURNING tenant, site", (digest(secret),)
        )
        if not found:
            database.run("UPDATE invitation SET tries = tries - 1")
    if not found:
        raise RefusedError(
            "this code is not good, or no longer: it lasts 15 minutes and is used once."
            " Ask for a new one at the hub"
        )
    return Invitation(*found[0])
