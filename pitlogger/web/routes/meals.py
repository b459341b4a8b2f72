"""The API of the meal: what became of a cook, told after it."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter
from pydantic import Field

from pitlogger.formats.cook_file import Mass
from pitlogger.model.book import Book
from pitlogger.model.folding import fold
from pitlogger.model.journal import Entry, MealTold
from pitlogger.store.queries import Reader
from pitlogger.views import doubting
from pitlogger.views.journal import Discard, EntryView, MealEntry
from pitlogger.views.node import Node
from pitlogger.web.access.roles import who_asks
from pitlogger.web.corrections import refuse_withdrawn
from pitlogger.web.requests import Ask, Text
from pitlogger.web.routes.entry_answer import entry_answer
from pitlogger.web.routes.reading import cook_id
from pitlogger.web.starting import open_cook
from pitlogger.yields.books import from_book
from pitlogger.yields.ledger import discarded_g
from pitlogger.yields.meals import meal_told

Mark = Annotated[int, Field(ge=1, le=5)]


class MealAsk(Ask):
    """How a meal went; the last cook's unless another is named. ``tender`` marks all pieces, or
    each by its name: 1 tough, 3 as it should be, 5 falling apart."""

    cook: str | None = None
    came: Annotated[int, Field(ge=0, le=100_000)] | None = None
    left: Mass | None = None
    tender: Mark | dict[str, Mark] | None = None
    text: Text = ""


def make_meal_api(daemon: Node) -> APIRouter:
    """Return the routes of the meal, bound to a daemon."""
    api = APIRouter(prefix="/api/v1")

    @api.post(
        "/meals",
        response_model=MealEntry,
        summary="Tell how a meal went: who came, what was left, how tender",
    )
    async def tell(ask: MealAsk) -> EntryView:
        entry = await tell_meal(daemon, ask)
        cook = entry.body.cook if isinstance(entry.body, MealTold) else ""
        book = await daemon.ask(lambda reader: _book(reader, cook))
        name = book.cook.name if book.cook else ""
        return entry_answer(daemon, entry, cook_name=name, discarded=_discarded(book))

    return api


async def tell_meal(daemon: Node, ask: MealAsk) -> Entry:
    """Put a meal on record and return its entry once it is on disk; what is told again counts.

    Raises:
        UsageError: No such cook or piece, or nothing told.
    """
    question = "Several cooks are open: whose meal was it?"
    named = ask.cook or open_cook(daemon.engine.book, None, ask.answers, question)
    known = await cook_id(daemon, named or None, ask.answers)
    book = await daemon.ask(lambda reader: _book(reader, known))
    refuse_withdrawn(book)
    marks = ask.tender if isinstance(ask.tender, dict) else {"": ask.tender} if ask.tender else {}
    body = meal_told(known, book, came=ask.came, left_mg=ask.left, tender=marks, text=ask.text)
    doubting.meal_asked(body, book, ask.answers, daemon.units)
    return await daemon.submit(body, ask.by or who_asks.get().initials, ask.key)


def _discarded(book: Book) -> tuple[Discard, ...]:
    thrown = ((one, discarded_g(one)) for one in from_book(book) if not one.children)
    return tuple(
        Discard(piece=one.piece, mass_g=mass_g, why=one.discarded_why)
        for one, mass_g in thrown
        if mass_g > 0
    )


def _book(reader: Reader, cook: str) -> Book:
    return fold(reader.entries(cook=cook))
