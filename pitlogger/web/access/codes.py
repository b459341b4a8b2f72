"""Pairing codes: short, shown where the node stands, good once and for ten minutes.

Eight characters of an alphabet without I, L, O and U give 2^40 codes. A wrong try voids nothing,
or a stranger could void the codes of everybody; it is slowed down instead (``Access.pairings``):
five tries, then one every five seconds from one address. Where a thousand addresses try for ten
minutes, that is 125 000 tries: one in nine million that one of them is right.
"""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, field

from pitlogger.web.access.roles import Role

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
LENGTH = 8
GOOD_FOR_MS = 10 * 60_000
MOST_OPEN = 50
_READ_AS = str.maketrans("ILOU", "110V", " -\t\n")


def new_code() -> str:
    """Return a random code."""
    return "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))


def spoken(code: str) -> str:
    """Return a code as it is shown: two groups of four."""
    return f"{code[:4]}-{code[4:]}"


def read(text: str) -> str:
    """Return a typed code in its plain form: capitals, look-alikes mended, no dashes."""
    return text.upper().translate(_READ_AS)


@dataclass(slots=True)
class Codes:
    """The codes that are open now. Times are monotonic milliseconds."""

    _open: dict[str, tuple[Role, int]] = field(default_factory=dict)

    def make(self, role: Role, now_ms: int) -> str:
        """Return a new code for a role."""
        self._drop_old(now_ms)
        while len(self._open) >= MOST_OPEN:
            del self._open[next(iter(self._open))]
        code = new_code()
        self._open[code] = (role, now_ms + GOOD_FOR_MS)
        return code

    def take(self, text: str, now_ms: int) -> Role | None:
        """Return the role a code gives and use it up; ``None`` for a wrong or an old one."""
        self._drop_old(now_ms)
        given = read(text)
        for code in list(self._open):
            if hmac.compare_digest(code.encode(), given.encode()):
                role, _ = self._open.pop(code)
                return role
        return None

    def _drop_old(self, now_ms: int) -> None:
        self._open = {code: held for code, held in self._open.items() if held[1] > now_ms}
