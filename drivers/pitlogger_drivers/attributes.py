"""Text of kernel sensor files: one file's content, or several as ``name=value``.

A driver reads the files of a sensor together and hands them over as one text, so that a value
never parts from its fault: ``in_temp_raw=1075 fault_oc=0``. A file that could not be read has
the name of its error in place of the value: ``temp1_input=<ENODATA>``.
"""

from __future__ import annotations

import re
from decimal import Decimal

from pitlogger.errors import MalformedError, ShortFrameError
from pitlogger.model.readings import Quality

_PAIR = re.compile(r"([A-Za-z0-9_]{1,64})=(\S{0,64})")
_ERROR = re.compile(r"<([A-Za-z0-9]{1,16})>")
_NUMBER = re.compile(r"[+-]?\d{1,12}(?:\.\d{1,12})?")
_QUALITY = {
    "ENODATA": Quality.NO_VALUE,  # the channel is switched off
    "EAGAIN": Quality.NO_VALUE,
    "EIO": Quality.OPEN,
    "ENODEV": Quality.OPEN,
    "ENXIO": Quality.OPEN,
    "ENOENT": Quality.OPEN,
}


def file_text(data: bytes) -> str:
    """Return the content of sensor files.

    Raises:
        ShortFrameError: Nothing was read.
        MalformedError: Bytes that are not ASCII.
    """
    if not data.isascii():
        raise MalformedError(f"{data!r} is not the text of a sensor file")
    text = data.decode("ascii").strip()
    if not text:
        raise ShortFrameError("an empty read: a conversion may still run; read again")
    return text


def pairs(text: str) -> dict[str, str]:
    """Return the ``name=value`` pairs of a text; a label keeps no blanks.

    Raises:
        MalformedError: A word that is no pair.
    """
    found = {}
    for word in text.split():
        match = _PAIR.fullmatch(word)
        if match is None:
            raise MalformedError(f"'{word}' is no name=value: expected one such as fault_oc=0")
        found[match[1]] = match[2]
    return found


def read_error(value: str) -> Quality | None:
    """Return what an error name in place of a value means, or ``None`` where it is a value."""
    match = _ERROR.fullmatch(value)
    return _QUALITY.get(match[1].upper(), Quality.FAULT) if match else None


def decimal(value: str, name: str) -> Decimal:
    """Return a plain number.

    Raises:
        MalformedError: It is none.
    """
    if not _NUMBER.fullmatch(value):
        raise MalformedError(f"{name} is '{value}': expected a number")
    return Decimal(value)


def switch(files: dict[str, str], name: str) -> bool:
    """Return whether a fault file says 1; a missing file says nothing.

    Raises:
        MalformedError: Neither 0 nor 1.
    """
    value = files.get(name, "0")
    if value not in ("0", "1"):
        raise MalformedError(f"{name} is '{value}': expected 0 or 1")
    return value == "1"
