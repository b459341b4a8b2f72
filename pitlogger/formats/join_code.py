"""The code by which a node joins a hub: who the hub is, and a secret of one use.

A code has 16 letters in four groups (``kq7m-x2pd-93vt-hwna``). The first eight are of a digest of
the hub's authority (40 bits), so that the node knows which hub it speaks to before it trusts
anything else; the last eight are the secret.
"""

from __future__ import annotations

import hashlib
import re

from pitlogger.errors import UsageError
from pitlogger.model.entry_ids import ALPHABET

HALF = 8
_CODE = re.compile(r"(?:[0-9a-z]{4}[\s-]*){4}$")
_COMMAND = frozenset({"pitlogger", "uplink", "join"})


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


def parse_invitation(text: str) -> tuple[str, str]:
    """Return address and code of what a hub shows, as somebody pasted it; no address is empty.

    The line of the QR code (``join_line``), the same with the hub's https address, the code alone.

    Raises:
        UsageError: More words than an address and a code, or no code.
    """
    text = " ".join(text.split())
    found = _CODE.search(text.casefold())
    at = found.start() if found else text.rfind(" ") + 1
    parse_code(text[at:])
    words = [word for word in text[:at].split() if word.casefold() not in _COMMAND]
    if len(words) > 1:
        raise UsageError(
            f"'{text}' is not what a hub shows: expected its address and its code, or its code"
        )
    return "".join(words), text[at:]


def join_line(address: str, code: str) -> str:
    """Return the command by which a node joins; its page takes the same line.

    Without ``https://``, so that a phone that scans it shows text and does not open the hub.
    """
    return f"pitlogger uplink join {address.removeprefix('https://')} {code}"


def written_code(letters: str, secret: str) -> str:
    """Return both halves as they are shown."""
    whole = letters + secret
    return "-".join(whole[at : at + 4] for at in range(0, len(whole), 4))
