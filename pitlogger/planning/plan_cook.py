"""The question of enough meat for one cook: its guests, its hour, its pieces as weighed last."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from pitlogger.errors import FieldError
from pitlogger.model.book import Book, PieceBook
from pitlogger.model.cooks import Cook, Stage
from pitlogger.yields.causes import CHAIN

_BEFORE_CARVING = CHAIN[: CHAIN.index("carved")]


def asked_of_cook(cook: Cook, book: Book | None = None, cut: str | None = None) -> dict[str, str]:
    """Return what a cook says of a plan's question, as its options would be typed.

    Args:
        cook: As its file says.
        book: Where it is on record, with its weighings.
        cut: Which of its cuts; needed where it has several.

    Raises:
        FieldError: It has several cuts and none was named, or not that one.
    """
    known = cook.pieces if book is None else tuple(one.piece for one in _open(book))
    cuts = tuple(dict.fromkeys(piece.cut for piece in known))
    if cut is None and len(cuts) > 1:
        both = ", ".join(cuts)
        raise FieldError("cut", f"'{cook.name}' has {both}: say which with {{cut}}")
    if cuts and cut not in (None, *cuts):
        raise FieldError("cut", f"'{cook.name}' has no {cut}; it has {', '.join(cuts)}")
    chosen = cut or next(iter(cuts), "")
    told = {"cut": chosen} | _of_services(cook)
    if cook.portion_mg is not None:
        told["portion"] = f"{cook.portion_mg / 1000:g} g"
    return told | _weighed(cook, [] if book is None else _open(book), chosen)


def _open(book: Book) -> list[PieceBook]:
    whole = (held for held in book.pieces.values() if not held.piece.parents)
    return [held for held in whole if held.stage is not Stage.DISCARDED]


def _of_services(cook: Cook) -> dict[str, str]:
    guests = sum(service.guests or 0 for service in cook.services) or cook.guests
    told = {"guests": str(guests)} if guests else {}
    if cook.services:
        last_ms = max(service.at_ms for service in cook.services)
        told["serve_at"] = datetime.fromtimestamp(last_ms / 1000).astimezone().isoformat()
    return told


def _weighed(cook: Cook, pieces: Sequence[PieceBook], cut: str) -> dict[str, str]:
    """Return the masses of pieces where the last weighing all of them have was, if any."""
    own = [held for held in pieces if held.piece.cut == cut]
    masses = [{w.weighed.checkpoint: w.weighed.net_mg for w in held.weighings} for held in own]
    for checkpoint in reversed(_BEFORE_CARVING):
        if masses and all(checkpoint in of_piece for of_piece in masses):
            return _typed([of_piece[checkpoint] for of_piece in masses], checkpoint)
    told = [held.piece for held in own] or [piece for piece in cook.pieces if piece.cut == cut]
    planned = [piece.mass_mg for piece in told if piece.mass_mg is not None]
    return _typed(planned, "purchased") if planned and len(planned) == len(told) else {}


def _typed(masses_mg: Sequence[int], checkpoint: str) -> dict[str, Any]:
    return {"pieces": ",".join(f"{mg / 1000:g} g" for mg in masses_mg), "weighed_at": checkpoint}
