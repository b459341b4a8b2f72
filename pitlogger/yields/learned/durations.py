"""How long each part of a cook takes, as a distribution: prior by practice, then learned.

Hours are lognormal: a normal-inverse-chi-square belief on their logarithm. All priors here
are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING

from pitlogger.errors import UsageError
from pitlogger.model.cooks import Stage
from pitlogger.yields.cuts import figures
from pitlogger.yields.learned.belief import Belief, prior_belief
from pitlogger.yields.plausible import on_pit_ms

if TYPE_CHECKING:
    from pitlogger.model.book import Book, PieceBook

_BETWEEN, _WITHIN, _DF = 0.20, 0.12, 6.0
THINNEST_MM, THICKEST_MM = 10.0, 400.0
# Between surface-limited (1) and conduction-limited (2) heating: a judgement.
_THICKNESS_POWER = 1.5
_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class Hours:
    """A lognormal duration; ``sd`` is of the logarithm, 0 for one that is fixed."""

    median: float
    sd: float = 0.0

    @property
    def mean(self) -> float:
        return self.median * math.exp(0.5 * self.sd**2)

    @property
    def variance(self) -> float:
        return self.mean**2 * math.expm1(self.sd**2)

    def quantile(self, p: float) -> float:
        """Return the hours that are not exceeded with probability ``p``."""
        if self.sd == 0.0 or self.median == 0.0:
            return self.median
        return self.median * math.exp(self.sd * _NORMAL.inv_cdf(p))


def in_sequence(parts: Sequence[Hours]) -> Hours:
    """Return the sum of independent durations, matched by mean and variance (Fenton)."""
    mean = math.fsum(part.mean for part in parts)
    variance = math.fsum(part.variance for part in parts)
    if mean <= 0.0:
        return Hours(0.0)
    sd = math.sqrt(math.log1p(variance / mean**2))
    return Hours(mean / math.exp(0.5 * sd**2), sd)


@dataclass(frozen=True, slots=True)
class CookTime:
    """Durations of one piece: on the pit before and after the wrap, and resting."""

    before_wrap: Hours
    after_wrap: Hours
    rest: Hours
    n: int

    @property
    def on_pit(self) -> Hours:
        return in_sequence((self.before_wrap, self.after_wrap))


Observed = Mapping[tuple[str, str], Sequence[float]]


def observed_hours(books: Iterable[Book]) -> dict[tuple[str, str], list[float]]:
    """Return the hours of past cooks by cut and part: ``before-wrap``, ``after-wrap``, ``on-pit``.

    ``on-pit`` is of pieces that were never wrapped.
    """
    found: dict[tuple[str, str], list[float]] = {}
    for book in books:
        if book.untaught or book.withdrawn:
            continue
        for held in book.pieces.values():
            if held.untaught:
                continue
            for part, ms in _parts(held):
                if ms > 0:
                    found.setdefault((held.piece.cut, part), []).append(ms / 3_600_000)
    return found


def _parts(held: PieceBook) -> Iterable[tuple[str, int]]:
    """Yield the parts whose both ends were marked as they happened, or stated by a person.

    The moment of typing says nothing of a cook; a time on the pit that is hardly possible
    counts only where somebody confirmed it.
    """
    on, wrapped = held.mark(Stage.SMOKING), held.mark(Stage.WRAPPED)
    off = held.mark(Stage.RESTING, Stage.HOLDING, Stage.CARVED)
    first = on or wrapped
    least_ms, most_ms = on_pit_ms(held.piece.family)
    is_believed = (
        first is None
        or off is None
        or off.confirmed
        or least_ms <= off.at_ms - first.at_ms <= most_ms
    )
    if not is_believed:
        return
    parts = [("before-wrap", on, wrapped), ("after-wrap", wrapped, off)]
    if wrapped is None:
        parts = [("on-pit", on, off)]
    for name, start, end in parts:
        if start is None or end is None or "unrecorded" in (start.timed, end.timed):
            continue
        if start.is_unconfirmed or end.is_unconfirmed:
            continue  # what was recognised teaches once somebody agreed
        yield name, end.at_ms - start.at_ms


def cook_time(
    cut: str, observed: Observed, thickness_mm: float | None = None, wrapped: bool = True
) -> CookTime:
    """Return how long a piece takes.

    Args:
        cut: A known cut.
        observed: From ``observed_hours``.
        thickness_mm: Thickest part; scales time where it is given.
        wrapped: Whether it will be wrapped.

    Raises:
        UsageError: No piece of meat is so thin or thick.
    """
    before, after, rest = figures()[cut].hours
    factor = 1.0
    if thickness_mm is not None:
        if not THINNEST_MM <= thickness_mm <= THICKEST_MM:
            raise UsageError(
                f"a thickness of {thickness_mm / 10:g} cm: expected the thickest part, "
                f"{THINNEST_MM / 10:g} to {THICKEST_MM / 10:g} cm"
            )
        factor = (thickness_mm / figures()[cut].thick_mm) ** _THICKNESS_POWER
    if not wrapped or after == 0.0:
        # Bare to the end takes a quarter longer than with a wrap after the stall.
        whole = before if after == 0.0 else 1.25 * (before + after)
        hours, n = _learned(whole, observed.get((cut, "on-pit"), ()))
        return CookTime(_scaled(hours, factor), Hours(0.0), Hours(rest), n)
    first, n_first = _learned(before, observed.get((cut, "before-wrap"), ()))
    second, n_second = _learned(after, observed.get((cut, "after-wrap"), ()))
    return CookTime(
        _scaled(first, factor), _scaled(second, factor), Hours(rest), min(n_first, n_second)
    )


def _learned(prior_hours: float, seen: Sequence[float]) -> tuple[Hours, int]:
    start: Belief = prior_belief(math.log(prior_hours), _BETWEEN, _WITHIN, _DF)
    belief = start.updated([math.log(hours) for hours in seen])
    following = belief.predictive()
    # The t is replaced by the normal with the same central 80 %.
    sd = (following.quantile(0.9) - following.centre) / _NORMAL.inv_cdf(0.9)
    return Hours(math.exp(following.centre), sd), len(seen)


def _scaled(hours: Hours, factor: float) -> Hours:
    return Hours(hours.median * factor, hours.sd)
