"""Short ids of journal entries, ``k7qm-42``: the tag of a run, a hyphen, the sequence within it.

A tag follows from the id of the run alone, so that an entry has the same id wherever it is
shown. A run of a node begins with its tag, ``k7qm-3v9xw2pd``, chosen so that no run of the
node had it before. Runs named otherwise (imports, records of earlier versions) have a longer
tag, made from a digest of their id.
"""

from __future__ import annotations

import hashlib
import re
import secrets
from collections.abc import Container
from functools import lru_cache

ALPHABET = "23456789abcdefghjkmnpqrstvwxyz"  # none that are read for another: 0 o, 1 i l, u v
SEQ_DIGITS = 9  # of a sequence, at most
_OWN_RUN = re.compile(f"([{ALPHABET}]{{4}})-[{ALPHABET}]{{8}}")
# With a digit in its tag, so that no piece (``flat-2``, ``neck-1``) is taken for an entry.
_SHORT_ID = re.compile(
    f"(?=[a-z]*[2-9])([{ALPHABET}]{{4}}(?:[{ALPHABET}]{{2}})?)-([0-9]{{1,{SEQ_DIGITS}}})"
)
_DIGITS = ALPHABET[:8]
_LONG_TAG = 6


@lru_cache(maxsize=4096)
def tag_of(run: str) -> str:
    """Return the tag of a run: 4 letters of a run of a node, 6 of any other."""
    if own := _OWN_RUN.fullmatch(run):
        return own[1]
    number = int.from_bytes(hashlib.sha256(run.encode()).digest()[:8])
    number, place = divmod(number, len(_DIGITS))
    letters = [_DIGITS[place]]
    for _ in range(_LONG_TAG - 1):
        number, place = divmod(number, len(ALPHABET))
        letters.append(ALPHABET[place])
    return "".join(letters)


def short_id(run: str, seq: int) -> str:
    """Return the id by which an entry is shown and named."""
    return f"{tag_of(run)}-{seq}"


def parse_short_id(text: str) -> tuple[str, int] | None:
    """Return tag and sequence of a written id, ``None`` where it is none."""
    found = _SHORT_ID.fullmatch(text.strip().casefold())
    return None if found is None else (found[1], int(found[2]))


def new_run(taken: Container[str]) -> str:
    """Return the id of a new run whose tag is none of those taken."""
    while True:
        letters = "".join(secrets.choice(ALPHABET) for _ in range(12))
        tag = letters[:4]
        if tag not in taken and not tag.isdigit() and not tag.isalpha():
            return f"{tag}-{letters[4:]}"
