"""Roles, and which one a request needs."""

from __future__ import annotations

from contextvars import ContextVar
from dataclasses import dataclass
from enum import IntEnum

from pitlogger.errors import UsageError, unknown


class Role(IntEnum):
    """What somebody may do; a higher role may do all that a lower one may."""

    LOOK = 1
    HANDS = 2
    OWNER = 3

    @property
    def label(self) -> str:
        return self.name.lower()


ABOUT = {
    Role.LOOK: "look: sees everything, changes nothing",
    Role.HANDS: "hands: sets stages, weighs, answers alarms",
    Role.OWNER: "owner: also pairs and removes phones, and changes settings",
}


def role_of(text: str) -> Role:
    """Return a role by its name.

    Raises:
        UsageError: No such role.
    """
    for role in Role:
        if role.label == text.casefold():
            return role
    raise UsageError(unknown("role", text, [role.label for role in Role]))


@dataclass(frozen=True, slots=True)
class Who:
    """Who asks: a paired phone, a program, the Unix socket, or somebody without a key."""

    id: str
    role: Role | None
    name: str = ""
    initials: str = ""


NOBODY = Who("", None)
SOCKET = Who("socket", Role.OWNER, "command line")
who_asks: ContextVar[Who] = ContextVar("who_asks", default=NOBODY)

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
_FREE = ("/static/", "/pair", "/healthz")
_OWNER = ("/api/v1/phones", "/api/v1/programs", "/phones/", "/node/", "/reach", "/join", "/first")
_OWNER_WRITES = (
    "/api/v1/log/signers", "/do/signer", "/do/set-", "/do/drop-way", "/api/v1/record",
    "/api/v1/uplink", "/api/v1/hub", "/uplink", "/hub", "/api/v1/papers", "/papers", "/import",
)  # fmt: skip


def needed(method: str, path: str) -> Role | None:
    """Return the role a request needs, ``None`` where it needs none."""
    if path.startswith(_FREE):
        return None
    if path == "/units":
        return Role.LOOK  # a choice of this phone alone
    if path.startswith(_OWNER):
        return Role.OWNER
    if method in SAFE:
        return Role.LOOK
    return Role.OWNER if path.startswith(_OWNER_WRITES) else Role.HANDS
