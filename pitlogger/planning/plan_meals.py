"""What a plan learns from past meals: what guests eat, how many come, what was tender."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from pitlogger.errors import FieldError
from pitlogger.model.quantities import show_mass, show_share
from pitlogger.planning.fields import Portion
from pitlogger.planning.terms import Terms
from pitlogger.yields.learned.lessons import tender_levels
from pitlogger.yields.meals import Habit, appetite, meals, turnout
from pitlogger.yields.records import PastPiece


@dataclass(frozen=True, slots=True)
class PastMeals:
    """What was learned of guests."""

    appetite: Habit
    turnout: Habit

    @property
    def any_told(self) -> bool:
        return bool(self.appetite.n or self.turnout.n)


@dataclass(frozen=True, slots=True)
class HabitShown:
    """A habit of guests over ``n`` meals."""

    n: int
    median: float
    p10: float
    p90: float


@dataclass(frozen=True, slots=True)
class MealsShown:
    """What guests eat and how many come, each ``None`` where no meal shows it."""

    eaten_per_guest_g: HabitShown | None
    show_rate_pct: HabitShown | None


def past_meals(history: Sequence[PastPiece]) -> PastMeals:
    """Return what the past meals of a history show."""
    told = meals(history)
    return PastMeals(appetite(told), turnout(told))


def meals_shown(past: PastMeals) -> MealsShown | None:
    """Return what past meals show, ``None`` if nothing."""
    if not past.any_told:
        return None
    return MealsShown(_habit(past.appetite, 1), _habit(past.turnout, 100))


def _habit(habit: Habit, factor: float) -> HabitShown | None:
    if habit.n == 0:
        return None
    at = (habit.median, habit.quantile(0.1), habit.quantile(0.9))
    return HabitShown(habit.n, *(round(value * factor, 2) for value in at))


def as_at_meals(
    past: PastMeals, terms: Terms, portion: Portion | None, *, show_rate_given: bool
) -> tuple[Terms, Portion | None]:
    """Return terms and portion as past meals were, where the person gave none.

    A paid guarantee is owed in full, so its show rate stays.

    Raises:
        FieldError: No past meal tells anything.
    """
    if not past.any_told:
        raise FieldError(
            "from_meals",
            "no past meal on record tells what guests ate or how many came; tell one with "
            "'pitlogger meal', or give {portion}",
        )
    eaten, variance = None, 0.0
    if portion is None:
        if past.appetite.n == 0:
            raise FieldError("from_meals", "no past meal tells what guests ate; give {portion}")
        eaten = Portion(mass_g=past.appetite.median)
        variance += past.appetite.cv**2
    if not show_rate_given and not terms.paid and past.turnout.n:
        terms = replace(terms, show_rate=min(1.0, past.turnout.median))
        variance += past.turnout.cv**2
    return replace(terms, shared_cv=variance**0.5), eaten


def meal_notes(past: PastMeals, *, used: bool) -> Iterator[str]:
    """Say what past meals show, and whether it was used."""
    if past.appetite.n:
        low, high = (show_mass(past.appetite.quantile(p) * 1000) for p in (0.1, 0.9))
        yield (
            f"Guests ate {show_mass(past.appetite.median * 1000)} each at {past.appetite.n} past "
            f"meals (the next one, 8 in 10: {low} to {high})."
        )
    if past.turnout.n:
        low, high = (show_share(past.turnout.quantile(p)) for p in (0.1, 0.9))
        yield (
            f"{show_share(past.turnout.median)} of those booked came to {past.turnout.n} meals "
            f"(next time, 8 in 10: {low} to {high})."
        )
    if past.any_told and not used:
        yield "--from-meals plans with what past meals were like."


def tender_notes(history: Sequence[PastPiece], cut: str) -> Iterator[str]:
    """Say how tender pieces were by wrap and pull temperature, where that was marked."""
    levels = tender_levels(piece for piece in history if piece.cut == cut)
    for factor in ("wrap", "pull_at"):
        told = [level for level in levels if level.factor == factor]
        if told:
            means = ", ".join(f"{level.value} {level.mean:.1f} (of {level.n})" for level in told)
            yield (
                f"Tenderness by {factor.replace('_', ' ')}, 3 as it should be: {means}. "
                "No cause is claimed."
            )
