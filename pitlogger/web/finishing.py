"""Finishing a cook: asked about first while its food is on the pit, held hot, cooled or reheated,

or while a limit was not met and nobody said what became of that food.
"""

from __future__ import annotations

from collections.abc import Iterator

from pitlogger.model.book import Book
from pitlogger.model.cooks import HOT_OFF_PIT, ON_PIT, Stage
from pitlogger.model.journal import Body, StageSet
from pitlogger.views import words
from pitlogger.views.node import Node
from pitlogger.web.dispositions import at_finish
from pitlogger.web.requests import FinishAsk

STILL = ON_PIT | HOT_OFF_PIT | {Stage.COOLING, Stage.REHEATING}
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


async def dispose(daemon: Node, cook: str, ask: FinishAsk, by: str) -> None:
    """Enter what became of food of a cook that is still open, as it was answered.

    Raises:
        QuestionError: Some is, or a limit of some was not met, and nobody said what became of it.
    """
    if not cook:
        return
    book = daemon.engine.book.only(cook)
    now_ms = daemon.clock.engine_ms()
    open_pieces = list(still_open(book))
    made: list[Body] = []
    if open_pieces:
        told = ", ".join(
            f"{piece} ({words.stage(book.pieces[piece].stage)})" for piece in open_pieces
        )
        by_time = any(book.pieces[piece].by_time is not None for piece in open_pieces)
        became = [
            what for what, stage in BECAME.items() if not (by_time and stage is Stage.CHILLED)
        ]
        chosen = ask.answers.choose(f"Not finished with: {told}. What became of it?", became)
        made = [  # when it was served, or came off the pit, nobody said
            StageSet(one, BECAME[chosen], now_ms, timed="unrecorded") for one in open_pieces
        ]
    gone = [one.piece for one in made if isinstance(one, StageSet) and one.stage is Stage.DISCARDED]
    for body in [*await at_finish(daemon, cook, ask, by, gone), *made]:
        await daemon.submit(body, by)
