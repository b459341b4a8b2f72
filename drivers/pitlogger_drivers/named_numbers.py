"""Text of named numbers, ``mV=4.096,cj=25``, for raw inputs that need a calculation."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal

from pitlogger.errors import MalformedError, ShortFrameError, UnknownFrameError, unknown

_PAIR = re.compile(r"\s*([A-Za-z][A-Za-z0-9]{0,9})\s*=\s*(\S{1,40})\s*")
_NUMBER = re.compile(r"([+-]?\d{1,12}(?:\.\d{1,15})?(?:[eE][+-]?\d{1,2})?)([kM]?)")
_FACTOR = {"": 1.0, "k": 1e3, "M": 1e6}


def parse(data: bytes, names: Mapping[str, str]) -> dict[str, float]:
    """Return the numbers of a text by name.

    Args:
        bytes: ``name=number`` separated by commas or blanks; ``k`` and ``M`` may follow a
            number.
        names: Accepted spellings in lower case, to the name in the result.

    Raises:
        ShortFrameError: No text.
        UnknownFrameError: Another name.
        MalformedError: Anything else, a name given twice included.
    """
    if not data.isascii():
        raise MalformedError(f"{data!r} is no text of named numbers")
    words = [word for word in re.split(r"[,\s]+", data.decode("ascii").strip()) if word]
    if not words:
        raise ShortFrameError(f"no numbers: expected some of {', '.join(names.values())}")
    found: dict[str, float] = {}
    for word in words:
        pair = _PAIR.fullmatch(word)
        number = _NUMBER.fullmatch(pair[2]) if pair else None
        if pair is None or number is None:
            raise MalformedError(f"'{word}' is no NAME=NUMBER, such as {next(iter(names))}=10000")
        name = names.get(pair[1].casefold())
        if name is None:
            raise UnknownFrameError(unknown("name", pair[1], dict.fromkeys(names.values())))
        if name in found:
            raise MalformedError(f"'{name}' is given twice")
        found[name] = float(Decimal(number[1])) * _FACTOR[number[2]]
    return found
