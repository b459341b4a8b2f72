"""Finishing a cook: asked about first while its food is still held hot, cooled or reheated."""

from __future__ import annotations

from collections.abc import Iterator

from pitlogger.model.book import Book
from pitlogger.model.cooks import HOT_OFF_PIT, Stage
from pitlogger.model.journal import StageSet
from pitlogger.questions import Answers
from pitlogger.views import words
from pitlogger.views.node import Node

STILL = HOT_OFF_PIT | {Stage.COOLING, Stage.REHEATING}
BECAME = {
    "served or handed over": Stage.SERVED,
    "chilled": Stage.CHILLED,
    "discarded": Stage.DISCARDED,
}


def still_open(book: Book) -> Iterator[str]:
    """Yield the pieces about which nobody said what became of them."""
    for piece, held in book.pieces.items():
        is_eaten = held.stage in (Stage.SERVED, Stage.DISCARDED)
        if held.is_open and (held.stage in STILL or (held.by_time is not None and not is_eaten)):
            yield piece


async def dispose(daemon: Node, cook: str, answers: Answers, by: str) -> None:
    """Enter what became of food of a cook that is still open, as it was answered.

    Raises:
        QuestionError: Some is, and nobody said what became of it.
    """
    if not cook:
        return
    book = daemon.engine.book.only(cook)
    open_pieces = list(still_open(book))
    if not open_pieces:
        return
    told = ", ".join(f"{piece} ({words.stage(book.pieces[piece].stage)})" for piece in open_pieces)
    by_time = any(book.pieces[piece].by_time is not None for piece in open_pieces)
    became = [what for what, stage in BECAME.items() if not (by_time and stage is Stage.CHILLED)]
    chosen = answers.choose(f"Not finished with: {told}. What became of it?", became)
    now_ms = daemon.clock.engine_ms()
    for piece in open_pieces:
        await daemon.submit(StageSet(piece, BECAME[chosen], now_ms), by)
