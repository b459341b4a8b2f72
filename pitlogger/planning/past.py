"""What a question may learn from: past pieces, and how long past cooks took."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from pitlogger.planning.plan_meals import PastMeals, past_meals
from pitlogger.yields.learned.servable import (
    Learned,
    Observed,
    PriorKind,
    learn,
    observations,
    whole_pieces,
)
from pitlogger.yields.lineage import LineageMasses
from pitlogger.yields.records import PastPiece

if TYPE_CHECKING:
    from pitlogger.formats.paper_log import PaperLog
    from pitlogger.model.book import Book
    from pitlogger.yields.purchase.cut_priors import CutPrior


@dataclass(frozen=True)
class PastCooks:
    """Past cooks as one history; what follows from them is worked out once.

    Attributes:
        pieces: Oldest cook first.
        hours: Hours seen of each part of a cook, by cut and part (``learned.durations``).
        notes: What is to be said of the history, such as that there is none.
        priors: Those that the firm's other sites taught and a person took, by cut.
        names: What each cook on record is known as, by its id.
        under_way: Cooks that are open, by what they are known as.
    """

    pieces: tuple[PastPiece, ...] = ()
    hours: Mapping[tuple[str, str], Sequence[float]] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    priors: Mapping[str, CutPrior] = field(default_factory=dict)
    names: Mapping[str, str] = field(default_factory=dict)
    under_way: Mapping[str, Book] = field(default_factory=dict)

    @classmethod
    def from_books(
        cls, books: Iterable[Book], priors: Mapping[str, CutPrior] | None = None
    ) -> PastCooks:
        """Return what the cooks on a node's record teach."""
        from pitlogger.yields.books import from_books, names_of
        from pitlogger.yields.learned.durations import observed_hours

        told = list(books)
        known = list(zip(names_of(told), told, strict=True))
        return cls(
            tuple(from_books(told).pieces()), observed_hours(told), priors=priors or {},
            names={book.cook.id: name for name, book in known if book.cook is not None},
            under_way={name: book for name, book in known
                       if book.cook is not None and book.finished_ms is None},
        )  # fmt: skip

    @classmethod
    def from_paper(cls, log: PaperLog) -> PastCooks:
        """Return what a paper log teaches."""
        from pitlogger.yields.records import from_paper

        return cls(tuple(from_paper(log.all_rows()).pieces()), notes=log.notes)

    @cached_property
    def _learned(self) -> dict[tuple[object, ...], Learned]:
        return {}

    def learned(
        self,
        cut: str,
        prior: PriorKind = "cut",
        start: str = "purchased",
        asked: Mapping[str, str] | None = None,
    ) -> Learned:
        """Return what is known of the next cook of a cut (``learned.servable.learn``)."""
        factors = asked or {}
        key = (cut, prior, start, *sorted(factors.items()))
        if key not in self._learned:
            self._learned[key] = learn(cut, self.observed, prior, start, factors, self.priors)
        return self._learned[key]

    @cached_property
    def whole(self) -> list[LineageMasses]:
        """Pieces that stand for themselves, a split one as its parent."""
        return list(whole_pieces(self.pieces))

    @cached_property
    def observed(self) -> list[Observed]:
        """Whole pieces with a servable mass."""
        return observations(self.pieces)

    @cached_property
    def meals(self) -> PastMeals:
        """What guests ate and how many came."""
        return past_meals(self.pieces)
