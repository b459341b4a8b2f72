"""The keyring: phones and programs that hold a key, in ``phones.json`` of the data folder.

Of each key only the SHA-256 is kept. A removed one stays listed with when and by whom: it is
the audit of who had access.
"""

from __future__ import annotations

import json
import logging
import secrets
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Literal

from pitlogger.errors import UsageError, unknown
from pitlogger.files import set_aside, write_soon, write_whole
from pitlogger.formats.json_text import parse_json
from pitlogger.formats.secret import digest
from pitlogger.web.access.roles import Role, role_of

log = logging.getLogger(__name__)

Kind = Literal["phone", "program"]
SEEN_EVERY_MS = 86_400_000
SLIDES_MS = 90 * 86_400_000  # a phone not seen for so long is forgotten
MOST_KEYS = 200


@dataclass(frozen=True, slots=True)
class Holder:
    """A phone or a program. Times are UTC milliseconds."""

    id: str
    kind: Kind
    name: str
    initials: str
    role: Role
    sha256: str
    made_ms: int
    seen_ms: int
    removed_ms: int | None = None
    removed_by: str = ""


class Keyring:
    """Keys by their digest; every change is on disk before it is answered.

    Attributes:
        broken: What to say where the list could not be read; empty where it could.
    """

    def __init__(self, path: Path) -> None:
        self.broken = ""
        self._path = path
        self._holders: dict[str, Holder] = {}
        self._by_digest: dict[str, Holder] = {}
        if path.exists():
            self._load()

    def holders(self, kind: Kind | None = None) -> list[Holder]:
        """Return those listed, the newest last, removed ones too."""
        return [one for one in self._holders.values() if kind in (None, one.kind)]

    def has_owner(self) -> bool:
        """Return whether a phone of the owner is paired."""
        return any(
            one.role is Role.OWNER and one.removed_ms is None for one in self._holders.values()
        )

    def add(
        self, kind: Kind, name: str, initials: str, role: Role, now_ms: int
    ) -> tuple[Holder, str]:
        """Return a new holder and its key, which is not kept.

        Raises:
            UsageError: No name, or too many keys.
        """
        if not name.strip():
            raise UsageError(f"a {kind} needs a name, such as 'kitchen' or 'notebook'")
        in_use = sum(one.removed_ms is None for one in self._holders.values())
        if in_use >= MOST_KEYS:
            raise UsageError(f"{MOST_KEYS} keys are given out: remove one first")
        key = secrets.token_urlsafe(32)
        held = Holder(
            secrets.token_hex(4), kind, name.strip()[:40], initials.strip()[:12], role,
            digest(key), now_ms, now_ms,
        )  # fmt: skip
        self._put(held)
        self._save()
        return held, key

    def find(self, key: str, now_ms: int) -> Holder | None:
        """Return who holds a key and note that it was seen; ``None`` for nobody."""
        held = self._by_digest.get(digest(key))
        if held is None or held.removed_ms is not None:
            return None
        if held.kind == "phone" and now_ms - held.seen_ms > SLIDES_MS:
            return None
        if now_ms - held.seen_ms > SEEN_EVERY_MS:
            held = replace(held, seen_ms=now_ms)
            self._put(held)
            write_soon(self._path, self._text())
        return held

    def remove(self, ident: str, by: str, now_ms: int) -> Holder:
        """Take a key away.

        Raises:
            UsageError: No such holder.
        """
        for held in self._holders.values():
            if ident in (held.id, held.name) and held.removed_ms is None:
                gone = replace(held, removed_ms=now_ms, removed_by=by)
                self._put(gone)
                self._save()
                return gone
        known = [one.name for one in self._holders.values() if one.removed_ms is None]
        raise UsageError(unknown("phone or program", ident, known))

    def _put(self, held: Holder) -> None:
        self._holders[held.id] = held
        self._by_digest[held.sha256] = held

    def _load(self) -> None:
        """Take up who is listed; a file that cannot be read is set aside, and nobody is."""
        try:
            rows = parse_json(self._path.read_bytes())["phones"]
            listed = [Holder(**{**row, "role": role_of(row["role"])}) for row in rows]
        except (OSError, ValueError, KeyError, TypeError, AttributeError, UsageError) as fault:
            self.broken = f"{self._path.name} could not be read ({fault!r}): no phone is paired now"
            with suppress(OSError):
                self.broken += f"; it lies at {set_aside(self._path)}"
            log.error("%s", self.broken)
            return
        for held in listed:
            self._put(held)

    def _save(self) -> None:
        self._path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(self._path, self._text())

    def _text(self) -> str:
        rows = [{**asdict(one), "role": one.role.label} for one in self._holders.values()]
        return json.dumps({"phones": rows}, indent=1, ensure_ascii=False)
