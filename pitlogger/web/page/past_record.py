"""Questions to the record of past cooks."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import TypeVar

from pitlogger.model.book import Book, fold
from pitlogger.planning.past import PastCooks
from pitlogger.store.queries import Reader
from pitlogger.views.node import Node
from pitlogger.web.past_entries import past_entries

Answer = TypeVar("Answer")


async def books(daemon: Node) -> list[Book]:
    """Return the book of each cook on record, oldest first."""

    def read(reader: Reader) -> list[Book]:
        return [fold(entries) for _, entries in past_entries(reader)]

    return await daemon.ask(read)


async def from_record(daemon: Node, answer: Callable[[PastCooks], Answer]) -> Answer:
    """Return the answer to a question that learns from the node's record.

    Runs in a thread of its own: a plan takes a moment and must not hold up the logger.
    """
    known = await books(daemon)
    return await asyncio.to_thread(lambda: answer(PastCooks.from_books(known)))
