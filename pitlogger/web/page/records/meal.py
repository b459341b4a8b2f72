"""After the meal: who came, what was left, how tender it was; asked once its cook is over."""

from __future__ import annotations

from typing import Any

from pitlogger.model.book import Book
from pitlogger.model.folding import fold
from pitlogger.model.journal import MealTold
from pitlogger.store.queries import Reader
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.web.past_entries import meal_entries
from pitlogger.yields.meals import TENDER_MARKS


def with_meal(reader: Reader, cook: str) -> Book:
    """Return the book of a cook with what was entered of its meal since."""
    return fold([*reader.entries(cook=cook), *meal_entries(reader, cook)])


def meal_form(cook: str, book: Book, shown: Shown) -> dict[str, Any] | None:
    """Return the form of a cook's meal as it was last entered, ``None`` while it still runs."""
    if book.finished_ms is None:
        return None
    meal = book.meal or MealTold(cook)
    marks = {one.piece: one.mark for one in meal.tender}
    guests = book.cook.guests if book.cook is not None else None
    return {
        "cook": cook,
        "is_told": book.meal is not None,
        "sentence": _sentence(meal, shown) if book.meal is not None else "",
        "guests": guests or "",
        "came": "" if meal.came is None else meal.came,
        "left": "" if meal.left_mg is None else shown.mass(meal.left_mg),
        "pieces": [
            {"id": held.piece.id, "mark": marks.get(held.piece.id)}
            for held in book.pieces.values()
            if held.ended_ms is None
        ],
        "marks": {mark: tr(word) for mark, word in TENDER_MARKS.items()},
        "text": meal.text,
    }


def _sentence(meal: MealTold, shown: Shown) -> str:
    parts = [] if meal.came is None else [tr("{came} came", came=meal.came)]
    if meal.left_mg is not None:
        parts.append(tr("{mass} was left", mass=shown.mass(meal.left_mg)))
    parts += [f"{one.piece} {tr(TENDER_MARKS[one.mark])}" for one in meal.tender]
    return f"{'; '.join(parts)}." if parts else tr("Told.")


async def untold(daemon: Node) -> dict[str, str] | None:
    """Return the last cook where it is over and nobody entered its meal yet."""

    def read(reader: Reader) -> dict[str, str] | None:
        row = next(iter(reader.cooks()), None)
        if row is None or row.finished_ms is None or with_meal(reader, row.id).meal is not None:
            return None
        return {"id": row.id, "name": row.name}

    return await daemon.ask(read)
