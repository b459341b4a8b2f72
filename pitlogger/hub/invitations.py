"""Codes given out to nodes that may join: good once, for 15 minutes, for five tries."""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass

from pitlogger.errors import RefusedError
from pitlogger.formats.join_code import HALF, authority_letters, written_code
from pitlogger.model.entry_ids import ALPHABET

GOOD_FOR_MS = 15 * 60_000
TRIES = 5


@dataclass(slots=True)
class Invitation:
    """A secret that waits for its node, and where the node will belong."""

    secret: str
    tenant: str
    site: str
    until_ms: int
    tries: int = TRIES


class Invitations:
    """The codes given out and not yet used. Forgotten with the process."""

    def __init__(self, authority: bytes) -> None:
        self._authority = authority_letters(authority)
        self._open: list[Invitation] = []

    def invite(self, tenant: str, site: str, now_ms: int) -> str:
        """Return a new code for a node of a site."""
        secret = "".join(secrets.choice(ALPHABET) for _ in range(HALF))
        self._open.append(Invitation(secret, tenant, site, now_ms + GOOD_FOR_MS))
        return written_code(self._authority, secret)

    def accept(self, secret: str, now_ms: int) -> Invitation:
        """Take a code in and return what it is for; it is used up.

        Raises:
            RefusedError: None such, too late, or tried too often.
        """
        self._open = [one for one in self._open if one.until_ms > now_ms and one.tries > 0]
        for one in self._open:
            if hmac.compare_digest(one.secret.encode(), secret.encode()):
                self._open.remove(one)
                return one
        for one in self._open:
            one.tries -= 1
        raise RefusedError(
            "this code is not good, or no longer: it lasts 15 minutes and is used once."
            " Ask for a new one: pitlogger hub invite"
        )
