"""The pieces that are still followed: their stages, splitting them, pulling them together."""

from __future__ import annotations

from typing import Any

from pitlogger.model.book import Book, PieceBook
from pitlogger.model.cooks import HOT_OFF_PIT, Stage, may_follow
from pitlogger.model.next_steps import NEXT_STAGE
from pitlogger.views import words
from pitlogger.views.entries import both
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.views.status import is_running

# A whole packer parts along its seam of fat; other cuts part as somebody names the parts.
_PARTS = {"brisket-packer": ("point", "flat")}
_UNNAMED = ("1", "2")
_BY_TIME_FROM = HOT_OFF_PIT | {Stage.COOLING, Stage.CHILLED}
_PARTED_LATER = frozenset({Stage.RAW, Stage.THAWING, Stage.DISCARDED, Stage.SERVED})


def pieces(daemon: Node, shown: Shown) -> list[dict[str, Any]]:
    """Return the pieces that are still followed, each with the stages it may go to."""
    if not is_running(daemon):
        return []
    book = daemon.engine.book
    return [piece_facts(one, book, shown) for one in in_order(book) if one.is_open]


def followed(book: Book) -> frozenset[str]:
    """Return the ids of the pieces whose cooks are open."""
    return frozenset(name for name, held in book.pieces.items() if held.over_ms is None)


def in_order(book: Book) -> list[PieceBook]:
    """Return the pieces of a book, those that came of others right behind the last of these."""
    found: dict[str, PieceBook] = {}

    def add(held: PieceBook) -> None:
        if held.piece.id in found or any(name not in found for name in _parents(book, held)):
            return
        found[held.piece.id] = held
        for child in held.children:
            if child in book.pieces:
                add(book.pieces[child])

    for held in book.pieces.values():
        add(held)
    return list(found.values())


def _parents(book: Book, held: PieceBook) -> list[str]:
    return [parent for parent in held.piece.parents if parent in book.pieces]


def lineage(held: PieceBook) -> str:
    """Return what a piece came of or became, empty where neither."""
    children, parents = held.children, held.piece.parents
    told = [tr("from {names}", names=both(parents))] if parents else []
    if len(children) > 1:
        told.append(tr("split into {names}", names=both(children)))
    elif children:
        told.append(tr("put together as {children}", children=children[0]))
    return "; ".join(told)


def piece_facts(held: PieceBook, book: Book, shown: Shown) -> dict[str, Any]:
    """Return one piece: its stage, what may follow, how it may be split."""
    following = NEXT_STAGE.get(held.stage)
    return {
        "id": held.piece.id,
        "cut": words.cut(held.piece.cut),
        "count": held.piece.count,
        "lineage": lineage(held),
        "stage": words.stage(held.stage),
        "since": shown.since(held.stage_since_ms),
        "by_hand": _by_hand(held, book, shown),
        "next": None if following is None else following.value,
        "next_act": "" if following is None else words.stage_act(following),
        "stages": [
            {"value": stage.value, "label": words.stage_act(stage)}
            for stage in Stage
            if stage is not held.stage and may_follow(held.stage, stage)
        ],
        "parts": _parts(held),
        "has_seam": held.piece.cut in _PARTS,
        "left_probes": _left_probes(held, book),
        "by_time": held.by_time is not None,
        "may_be_by_time": held.by_time is None and held.stage in _BY_TIME_FROM,
    }


def _by_hand(held: PieceBook, book: Book, shown: Shown) -> str:
    """Return the last reading by hand of a piece, empty without one."""
    spots = [spot for _, spot in book.spots if spot.piece == held.piece.id]
    if not spots:
        return ""
    last = max(spots, key=lambda spot: spot.at_ms)
    return tr(
        "{value} by hand, {since} ago",
        value=shown.temperature(last.value_mc),
        since=shown.since(last.at_ms),
    )


def _parts(held: PieceBook) -> list[str]:
    """Return the names that the parts of a piece would get, none where it is not parted now."""
    if held.stage in _PARTED_LATER:
        return []
    return [f"{held.piece.id}-{part}" for part in _PARTS.get(held.piece.cut, _UNNAMED)]


def _left_probes(held: PieceBook, book: Book) -> list[str]:
    """Return the core probes that still name what a piece came of: where are they now?"""
    return [channel for parent in _parents(book, held) for channel in book.cores(parent)]
