"""Tags of our own: the text in the code that is stuck on a piece or a tray.

    PLP:k7q2:brisket-1   piece brisket-1 of one cook; without a cook (``PLP::brisket-1``) of
                         whichever runs
    PLT:half-pan-3       container half-pan-3

The cook is named by four characters of a digest of its id, so that the tag of an earlier cook
in the freezer is not taken for a piece of today.
"""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass

PIECE, TRAY = "PLP:", "PLT:"


@dataclass(frozen=True, slots=True)
class PieceTag:
    """A piece; ``cook`` is the mark of its cook, empty for whichever runs."""

    piece: str
    cook: str = ""

    @property
    def text(self) -> str:
        return f"{PIECE}{self.cook}:{self.piece}"


@dataclass(frozen=True, slots=True)
class TrayTag:
    """A tray, pan or board of the list of containers."""

    name: str

    @property
    def text(self) -> str:
        return f"{TRAY}{self.name}"


Tag = PieceTag | TrayTag


def cook_mark(cook: str) -> str:
    """Return four characters, made from its id, that identify a cook; empty for none."""
    digest = hashlib.sha256(cook.encode()).digest()
    return base64.b32encode(digest)[:4].decode().lower() if cook else ""


def read_tag(text: str) -> Tag | None:
    """Return the tag of a scanned text, ``None`` if it is no tag of ours."""
    if text.startswith(PIECE):
        cook, colon, piece = text.removeprefix(PIECE).partition(":")
        return PieceTag(piece, cook) if colon and piece else None
    name = text.removeprefix(TRAY)
    return TrayTag(name) if text.startswith(TRAY) and name else None
