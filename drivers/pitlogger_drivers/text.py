"""Reading text that instruments send: strict ASCII in, exact decimals out.

``float(text)`` is never used: it accepts ``nan``, ``inf``, ``1e400`` and ``1_000``.
"""

from __future__ import annotations

import re
from decimal import Decimal

from pitlogger.errors import MalformedError, OutOfRangeError, UnknownFrameError
from pitlogger.model.readings import Quality
from pitlogger_drivers.bounds import HIGHEST

NUMBER = r"\d{1,12}(?:\.\d{1,9})?"  # no sign, no exponent, no bare point
# What is printed for "not a number" and for "too much": customary, from memory.
_BEYOND = r"[+-]?\s*(?:inf(?:inity)?|ovf)"
NO_NUMBER = rf"(?i:[+-]?\s*(?:nan(?:\(\w*\))?|null|none|n/?a)|{_BEYOND}|\+?\s*-[-. ]*-[-. ]*)"
_MASS_UNITS = {
    "kg": "kg", "kgs": "kg", "g": "g", "mg": "mg", "lb": "lb", "lbs": "lb", "oz": "oz",
}  # fmt: skip
_COUNTS = frozenset(("pc", "pcs"))
_TRY_RATES = "Set baud to the rate in its manual; the customary ones are 1200 to 115200"


def ascii_line(line: bytes) -> str:
    """Return a line as text.

    Raises:
        MalformedError: An byte that is neither printable ASCII nor a tab.
    """
    if line.isascii():
        text = line.decode("ascii")
        if text.replace("\t", " ").isprintable():
            return text
        raise MalformedError(f"{line!r} holds control bytes: noise on the line", remedy=_TRY_RATES)
    if _looks_like_seven_bits(line):
        raise MalformedError(
            f"{line!r} holds bytes above 0x7F that are digits and letters without bit 7: "
            "the sender uses 7 data bits with parity and is read as 8N1; set 7E1 (or 7O1)",
            remedy='Write framing = "7E1" (or "7O1") in its configuration',
        )
    raise MalformedError(
        f"{line!r} holds bytes above 0x7F: noise, or a wrong baud rate; "
        "try the rates the device allows",
        remedy=_TRY_RATES,
    )


def _looks_like_seven_bits(line: bytes) -> bool:
    masked = bytes(byte & 0x7F for byte in line)
    return all(0x20 <= byte < 0x7F or byte in b"\t\r\n" for byte in masked)


def mass_unit(word: str) -> str:
    """Return the unit a scale's word means; empty stays empty.

    Raises:
        UnknownFrameError: Pieces, or a word that is no unit of mass.
    """
    if not word:
        return ""
    folded = word.casefold()
    if folded in _COUNTS:
        raise UnknownFrameError(
            "the scale is in counting mode and sends pieces, not a mass: switch it to weighing"
        )
    unit = _MASS_UNITS.get(folded)
    if unit is None:
        raise UnknownFrameError(f"unit '{word}' is not known: set the scale to kg, g, mg, lb or oz")
    return unit


def no_value(text: str) -> Quality | None:
    """Return why a text that stands in the place of a number is none; ``None`` for all others."""
    text = text.strip()
    if not re.fullmatch(NO_NUMBER, text):
        return None
    is_beyond = re.fullmatch(_BEYOND, text, re.IGNORECASE)
    return Quality.OVERLOAD if is_beyond else Quality.NO_VALUE


def number(sign: str, digits: str) -> float:
    """Return the number of a sign and digits that match ``NUMBER``; minus zero becomes zero.

    Raises:
        OutOfRangeError: Above ``HIGHEST``.
    """
    value = Decimal(digits)
    if value > HIGHEST:
        raise OutOfRangeError(f"{value} is no reading: expected at most {HIGHEST}")
    return float(-value if sign == "-" else value) + 0.0
