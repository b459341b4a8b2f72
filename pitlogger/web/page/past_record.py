"""Questions to the record of past cooks, put the way the command line puts them."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from typing import TypeVar

import click

from pitlogger.cli.ahead.history import Record
from pitlogger.errors import RefusedError
from pitlogger.model.book import Book, fold
from pitlogger.node.daemon import Daemon
from pitlogger.store.queries import Reader
from pitlogger.web.past_entries import past_entries

Answer = TypeVar("Answer")


async def books(daemon: Daemon) -> list[Book]:
    """Return the book of each cook on record, oldest first."""

    def read(reader: Reader) -> list[Book]:
        return [fold(entries) for _, entries in past_entries(reader)]

    found: list[Book] = await daemon.ask(read)
    return found


async def with_record(daemon: Daemon, answer: Callable[[], Answer]) -> Answer:
    """Return what a command of the command line answers, with the node's record behind it.

    Runs in a thread of its own: a plan takes a moment and must not hold up the logger.
    """
    known = await books(daemon)

    def refuse(rows: Sequence[object]) -> int:
        raise RefusedError("a paper log is read with 'pitlogger import'")

    def work() -> Answer:
        with click.Context(click.Command("page"), obj=Record(lambda: known, refuse)):
            return answer()

    return await asyncio.to_thread(work)
