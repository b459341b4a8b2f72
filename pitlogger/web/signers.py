"""Who may sign a food log: initials, a name, and a PIN that is kept as its scrypt hash alone.

Kept beside the database, a line for each change (JSON Lines, append-only). Source of the
parameters: RFC 7914; a PIN of few digits is guarded by the wait after wrong ones.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from dataclasses import dataclass

from pitlogger.errors import RefusedError, UsageError, unknown
from pitlogger.node.row_file import RowFile
from pitlogger.views.node import Node

FILE = "signers.jsonl"
LEAST_DIGITS = 4
FREE_TRIES = 3
WAIT_MS = 60_000  # after each wrong PIN beyond the free ones
_COST = {"n": 2**14, "r": 8, "p": 1}


@dataclass(frozen=True, slots=True)
class Signer:
    """One who may sign; ``pin`` and ``salt`` in hexadecimal."""

    initials: str
    name: str
    salt: str
    pin: str
    at_ms: int


class Signers:
    """The signers of a node, and the wrong PINs of late."""

    def __init__(self, node: Node) -> None:
        self._node = node
        self._file = RowFile(node.config.node.data / FILE, Signer, is_private=True)
        self._wrong: dict[str, tuple[int, int]] = {}  # by initials: how many, when last

    def known(self) -> dict[str, Signer]:
        """Return the signers by initials, as last written."""
        return {one.initials: one for one in self._file.rows()}

    def add(self, initials: str, name: str, pin: str) -> Signer:
        """Give somebody a PIN, or another one; it is on disk when this returns.

        Raises:
            UsageError: No initials or name, or a PIN that is no row of at least four digits.
        """
        if not initials.strip() or not name.strip():
            raise UsageError("a signer has initials and a name: give both")
        if not pin.isdecimal() or len(pin) < LEAST_DIGITS or len(set(pin)) == 1:
            raise UsageError(f"a PIN is {LEAST_DIGITS} digits or more, not all alike")
        salt = secrets.token_bytes(16)
        made = Signer(initials.strip(), name.strip(), salt.hex(), _hash(pin, salt),
                      self._node.clock.utc_ms())  # fmt: skip
        self._file.add(made)
        self._wrong.pop(made.initials, None)
        return made

    def confirm(self, initials: str, pin: str) -> Signer:
        """Return the signer whose PIN it is.

        Raises:
            UsageError: No such signer.
            RefusedError: A wrong PIN, or too many of them of late.
        """
        known = self.known()
        if initials not in known:
            hint = "the owner gives each signer a PIN first (pitlogger record signer)"
            raise UsageError(f"{unknown('signer', initials, known)}; {hint}" if known else hint)
        now_ms = self._node.clock.engine_ms()
        wrong, last_ms = self._wrong.get(initials, (0, 0))
        if wrong >= FREE_TRIES and now_ms - last_ms < WAIT_MS:
            raise RefusedError("too many wrong PINs: wait a minute, then try again")
        signer = known[initials]
        if not hmac.compare_digest(_hash(pin, bytes.fromhex(signer.salt)), signer.pin):
            self._wrong[initials] = wrong + 1, now_ms
            raise RefusedError(f"that is not the PIN of {signer.name}: nothing was signed")
        self._wrong.pop(initials, None)
        return signer


def _hash(pin: str, salt: bytes) -> str:
    return hashlib.scrypt(pin.encode(), salt=salt, **_COST).hex()
