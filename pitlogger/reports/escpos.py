"""ESC/POS: the bytes that make a receipt printer write, enlarge, draw a QR code and cut.

Source: public ESC/POS command references: ESC @ (initialise), ESC t 16 (code page
Windows-1252), GS ! (size), GS ( k functions 165, 167, 169, 180, 181 (QR code), GS h, GS w, GS k 73
(Code 128; ``{B`` is its code set), GS V 66 (feed and cut).
"""

from __future__ import annotations

import textwrap

WIDTH = 42  # characters a line of font A on 80 mm paper, less a margin
_ENCODING = "cp1252"
BEGIN = b"\x1b@\x1bt\x10"
CUT = b"\x1dVB\x03"
_BIG, _PLAIN = b"\x1d!\x11", b"\x1d!\x00"
_MODEL_2 = b"\x1d(k\x04\x001A2\x00"
_DOT_SIZE_6 = b"\x1d(k\x03\x001C\x06"
_CORRECTION_M = b"\x1d(k\x03\x001E1"
_PRINT = b"\x1d(k\x03\x001Q0"
_MOST_BYTES = 7089 - 3


def encoded(text: str) -> bytes:
    """Return text as a printer takes it: no control characters, ``?`` for what it lacks."""
    printable = "".join(char if char.isprintable() else " " for char in text)
    return printable.encode(_ENCODING, errors="replace")


def line(text: str, width: int = WIDTH) -> bytes:
    """Return a text as lines of at most ``width`` characters, broken between words."""
    lines = textwrap.wrap(text, width) or [""]
    return b"".join(encoded(part) + b"\n" for part in lines)


def big(text: str) -> bytes:
    """Return a text twice as wide and high."""
    return _BIG + line(text, WIDTH // 2) + _PLAIN


def qr(text: str) -> bytes:
    """Return a QR code that the printer draws itself.

    Raises:
        ValueError: More than a QR code holds.
    """
    data = text.encode()
    if len(data) > _MOST_BYTES:
        raise ValueError(f"{len(data)} bytes do not fit a QR code: {_MOST_BYTES} do")
    size = (len(data) + 3).to_bytes(2, "little")
    store = b"\x1d(k" + size + b"1P0" + data
    return _MODEL_2 + _DOT_SIZE_6 + _CORRECTION_M + store + _PRINT + b"\n"


def code128(text: str) -> bytes:
    """Return the bars of Code 128, code set B, that the printer draws itself.

    Args:
        text: Up to 32 printable ASCII characters.
    """
    data = b"{B" + text.replace("{", "{{").encode("ascii")
    return b"\x1dh\x50\x1dw\x02\x1dkI" + bytes((len(data),)) + data + b"\n"
