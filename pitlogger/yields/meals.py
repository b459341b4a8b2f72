"""After the meal: who came, what they ate, how tender it was, and what that says of the next.

What differs from meal to meal (appetite, turnout) is common to all guests of the next one
and does not average out over them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pitlogger.errors import UsageError, unknown
from pitlogger.yields.learned.belief import Belief, prior_belief
from pitlogger.yields.learned.servable import whole_pieces
from pitlogger.yields.ledger import dropped_after_g, servable
from pitlogger.yields.records import PastPiece

if TYPE_CHECKING:
    from pitlogger.model.book import Book
    from pitlogger.model.journal import MealTold

TENDER_MARKS = {1: "tough", 2: "firm", 3: "as it should be", 4: "soft", 5: "falling apart"}
# Before any meal was told. 140 g (about 5 oz) of several meats at a buffet: from memory; about
# one booked guest in ten does not come: hearsay of the trade; the spreads are judgements.
_APPETITE = prior_belief(math.log(140.0), 0.25, 0.12, 6.0)
_TURNOUT = prior_belief(math.log(0.93), 0.07, 0.05, 6.0)


def meal_told(
    cook: str,
    book: Book,
    *,
    came: int | None = None,
    left_mg: int | None = None,
    tender: Mapping[str, int] | None = None,
    text: str = "",
) -> MealTold:
    """Return the journal body that tells of a meal.

    Args:
        cook: Id of the cook.
        book: Its book, for the names of its pieces.
        came: Guests who ate, zero or more.
        left_mg: Meat left over, zero or more.
        tender: Mark of each piece, 1 to 5 (``TENDER_MARKS``); the name ``""`` marks all.
        text: Anything else worth knowing next time.

    Raises:
        UsageError: Nothing told, an unknown piece, a mark or number out of range.
    """
    from pitlogger.model.journal import MealTold, Tenderness  # a plan reads meals, never tells one

    marks = dict(tender or {})
    every = marks.pop("", None)
    if every is not None:
        marks = {piece: marks.get(piece, every) for piece in book.pieces}
    for piece, mark in marks.items():
        if piece not in book.pieces:
            raise UsageError(unknown("piece", piece, book.pieces))
        if mark not in TENDER_MARKS:
            told = ", ".join(f"{number} {word}" for number, word in TENDER_MARKS.items())
            raise UsageError(f"tenderness {mark} of {piece}: expected one of {told}")
    if (came or 0) < 0 or (left_mg or 0) < 0:
        raise UsageError("guests who came and what was left are zero or more")
    if came is None and left_mg is None and not marks and not text.strip():
        raise UsageError("nothing told: who came, what was left, how tender, or a note")
    listed = tuple(Tenderness(piece, mark) for piece, mark in marks.items())
    return MealTold(cook, came, left_mg, listed, text.strip())


@dataclass(frozen=True, slots=True)
class Meal:
    """One past meal; what was not told or weighed is ``None``."""

    cook: str
    booked: int | None
    came: int | None
    served_g: float | None
    left_g: float | None

    @property
    def turnout(self) -> float | None:
        """Guests who came over guests booked."""
        if self.booked is None or not self.came:
            return None
        return self.came / self.booked

    @property
    def eaten_per_guest_g(self) -> float | None:
        """Servable mass that each guest ate; a meal whose leftover is unknown says nothing."""
        guests = self.came or self.booked
        if not guests or self.served_g is None or self.left_g is None:
            return None
        eaten_g = self.served_g - self.left_g
        return eaten_g / guests if eaten_g > 0 else None


def meals(history: Iterable[PastPiece]) -> list[Meal]:
    """Return the meals of past cooks that tell anything of guests."""
    cooks: dict[str, list[PastPiece]] = {}
    for piece in history:
        cooks.setdefault(piece.cook, []).append(piece)
    found = []
    for name, pieces in cooks.items():
        booked = next((piece.guests for piece in pieces if piece.guests), None)
        came = next((piece.came for piece in pieces if piece.came is not None), None)
        if booked is not None or came is not None:
            found.append(Meal(name, booked, came, *_served_and_left(pieces)))
    return found


def _served_and_left(cook: Sequence[PastPiece]) -> tuple[float | None, float | None]:
    """Return what was put out and what of it came back, grams.

    Where the line was weighed out (``served``) a weighed leftover is no part of it.
    """
    whole = [one for one in whole_pieces(cook) if one.record.discarded_g is None]
    told_g = next((piece.left_g for piece in cook if piece.left_g is not None), None)
    weighed = [
        piece.record.masses["leftover"].value
        for piece in whole
        if "leftover" in piece.record.masses
    ]
    lines = [piece.record.masses.get("served") for piece in whole]
    if lines and all(lines) and weighed:
        lost_g = math.fsum(dropped_after_g(piece.record, "served") for piece in whole)
        return math.fsum(mass.value for mass in lines if mass is not None) - lost_g, 0.0
    masses = [servable(piece.record, piece.seam) for piece in whole]
    if not masses or any(mass is None for mass in masses):
        return None, None
    left_g = told_g if told_g is not None else math.fsum(weighed) if weighed else None
    lost_g = math.fsum(dropped_after_g(piece.record, "carved") for piece in whole)
    return math.fsum(mass.value for mass in masses if mass is not None) - lost_g, left_g


@dataclass(frozen=True, slots=True)
class Habit:
    """What guests do, learned from ``n`` meals: a belief on the logarithm."""

    n: int
    belief: Belief

    @property
    def median(self) -> float:
        return math.exp(self.belief.mean)

    @property
    def cv(self) -> float:
        """How much the next meal may differ, as a share: standard deviation of the logarithm."""
        following = self.belief.predictive()
        return following.scale * math.sqrt(following.df / (following.df - 2.0))

    def quantile(self, p: float) -> float:
        return math.exp(self.belief.predictive().quantile(p))


def appetite(past: Iterable[Meal]) -> Habit:
    """Return grams of servable meat a guest eats at the next meal."""
    logs = [math.log(each) for meal in past if (each := meal.eaten_per_guest_g) is not None]
    return Habit(len(logs), _APPETITE.updated(logs))


def turnout(past: Iterable[Meal]) -> Habit:
    """Return which share of the guests booked comes to the next meal; it may exceed 1."""
    logs = [math.log(share) for meal in past if (share := meal.turnout) is not None]
    return Habit(len(logs), _TURNOUT.updated(logs))
