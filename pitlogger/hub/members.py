"""People of a firm and what they may see: owner, manager, cook, inspector until a date."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from pitlogger.errors import UsageError
from pitlogger.formats.secret import digest
from pitlogger.hub.database import Database

OWNER, MANAGER, COOK, INSPECTOR = ROLES = ("owner", "manager", "cook", "inspector")
PART_ONLY = (
    "whoever sees a part of the firm only needs a hub on PostgreSQL: a file withholds no rows"
)


@dataclass(frozen=True, slots=True)
class Member:
    """Somebody who may look.

    Attributes:
        sites: Numbers of the sites they see; none is all of the firm's, for owners alone.
        until_ms: When it ends, UTC; ``None`` is never.
    """

    id: int
    tenant: int
    name: str
    role: str
    sites: tuple[int, ...]
    until_ms: int | None

    @property
    def sees_yields(self) -> bool:
        """Whether what the firm earns is shown: an inspector sees limits and logs alone."""
        return self.role != INSPECTOR

    @property
    def lets_join(self) -> bool:
        """Whether they may make a code for a node, of a site they see."""
        return self.sees_nodes

    @property
    def sees_nodes(self) -> bool:
        """Whether the state of the nodes and contradictions are shown."""
        return self.role in (OWNER, MANAGER)


def add_member(
    database: Database, tenant: int, name: str, role: str, sites: list[str],
    until_ms: int | None, now_ms: int, who: str,
) -> str:  # fmt: skip
    """Let somebody look; return the token that opens the page for them, shown this once.

    Raises:
        UsageError: No such role or site; an inspector without an end, a cook without a site;
            whoever may see a part only, in a file, which cannot withhold rows.
    """
    if role not in ROLES:
        raise UsageError(f"'{role}' is no role: {', '.join(ROLES)}")
    if role == INSPECTOR and until_ms is None:
        raise UsageError("an inspector looks until a date: --until 2027-01-31")
    if role in (MANAGER, COOK) and not sites:
        raise UsageError(f"a {role} belongs to a site: --site NAME (it may be repeated)")
    if (role != OWNER or sites) and not hasattr(database, "seen_by"):
        raise UsageError(PART_ONLY)
    known = {name: number for number, name in database.ask(
        "SELECT id, name FROM site WHERE tenant = ?", (tenant,)
    )}  # fmt: skip
    for site in sites:
        if site not in known:
            raise UsageError(f"no site '{site}' here: {', '.join(sorted(known)) or 'none yet'}")
    token = secrets.token_urlsafe(32)
    numbers = ",".join(str(known[site]) for site in sites)
    with database.transaction():
        database.run(
            "INSERT INTO member (tenant, name, role, sites, token, until_ms)"
            " VALUES (?, ?, ?, ?, ?, ?)",
            (tenant, name, role, numbers, digest(token), until_ms),
        )
        note(database, now_ms, who, f"let {name} look as {role}, sites {', '.join(sites) or 'all'}")
    return token


def member_of(database: Database, tenant: int, token: str, now_ms: int) -> Member | None:
    """Return who of a firm holds a token, as it is now; nobody once their time has ended."""
    rows = database.ask(
        "SELECT id, name, role, sites, until_ms FROM member WHERE token = ? AND tenant = ?",
        (digest(token), tenant),
    )
    for number, name, role, sites, until_ms in rows:
        if until_ms is None or now_ms < until_ms:
            seen = tuple(int(site) for site in sites.split(",") if site)
            return Member(number, tenant, name, role, seen, until_ms)
    return None


def remove_member(database: Database, tenant: int, name: str, now_ms: int, who: str) -> None:
    """Let somebody look no more, at once.

    Raises:
        UsageError: Nobody of this name.
    """
    with database.transaction():
        if not database.run("DELETE FROM member WHERE tenant = ? AND name = ?", (tenant, name)):
            raise UsageError(f"nobody here is called '{name}'")
        note(database, now_ms, who, f"let {name} look no more")


@contextmanager
def seen_by(database: Database, member: Member) -> Iterator[None]:
    """Ask as a member: PostgreSQL itself shows no other rows than they may see.

    In a file, which knows no such thing, questions of a member of some sites are refused.

    Raises:
        UsageError: They may see a part only, and the database cannot restrict them to it.
    """
    as_member = getattr(database, "seen_by", None)
    if as_member is not None:
        with as_member(member.tenant, member.role, ",".join(map(str, member.sites))):
            yield
    elif member.role == OWNER and not member.sites:
        yield
    else:
        raise UsageError(PART_ONLY)


def note(database: Database, at_ms: int, who: str, did: str) -> None:
    """Write down who did what."""
    database.run("INSERT INTO audit (at_ms, who, did) VALUES (?, ?, ?)", (at_ms, who, did))
