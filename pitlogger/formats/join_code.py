"""The code by which a node joins a hub: who the hub is, and a secret of one use.

A code has 16 letters in four groups (``kq7m-x2pd-93vt-hwna``). The first eight are of a digest of
the hub's authority (40 bits), so that the node knows which hub it speaks to before it trusts
anything else; the last eight are the secret.
"""

from __future__ import annotations

import hashlib

from pitlogger.errors import UsageError
from pitlogger.model.entry_ids import ALPHABET

HALF = 8


def authority_letters(pem: bytes) -> str:
    """Return the letters of a code that name an authority."""
    number = int.from_bytes(hashlib.sha256(pem.strip()).digest())
    letters = []
    for _ in range(HALF):
        number, place = divmod(number, len(ALPHABET))
        letters.append(ALPHABET[place])
    return "".join(letters)


def parse_code(text: str) -> tuple[str, str]:
    """Return the two halves of a code as somebody typed it.

    Raises:
        UsageError: No code.
    """
    letters = "".join(text.split()).replace("-", "").casefold()
    if len(letters) != 2 * HALF or not set(letters) <= set(ALPHABET):
        raise UsageError(
            f"'{text}' is no code: expected 16 letters and digits as the hub shows them,"
            " such as kq7m-x2pd-93vt-hwna"
        )
    return letters[:HALF], letters[HALF:]


def written_code(letters: str, secret: str) -> str:
    """Return both halves as they are shown."""
    whole = letters + secret
    return "-".join(whole[at : at + 4] for at in range(0, len(whole), 4))
