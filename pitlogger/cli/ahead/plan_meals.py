"""What past meals tell `pitlogger plan`: what guests eat, how many come, what was tender."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pitlogger.cli.ahead.plan_inputs import Portion, Terms
from pitlogger.errors import UsageError
from pitlogger.model.quantities import show_mass
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

    def document(self) -> dict[str, Any]:
        """Return what guests eat and how many come, each with its spread and n."""
        return {
            "eaten_per_guest_g": _habit(self.appetite, 1),
            "show_rate_pct": _habit(self.turnout, 100),
        }


def past_meals(history: Sequence[PastPiece]) -> PastMeals:
    """Return what the past meals of a history tell."""
    told = meals(history)
    return PastMeals(appetite(told), turnout(told))


def _habit(habit: Habit, factor: float) -> dict[str, Any] | None:
    if habit.n == 0:
        return None
    at = {"median": habit.median, "p10": habit.quantile(0.1), "p90": habit.quantile(0.9)}
    return {"n": habit.n, **{key: round(value * factor, 2) for key, value in at.items()}}


def as_at_meals(
    past: PastMeals, terms: Terms, portion: str | None, show_rate_pct: float | None
) -> tuple[Terms, Portion | None]:
    """Return terms and portion as past meals were, where the person gave none.

    A paid guarantee is owed in full, so its show rate stays.

    Raises:
        UsageError: No past meal tells anything.
    """
    if not past.any_told:
        raise UsageError(
            "--from-meals: no past meal on record tells what guests ate or how many came; "
            "tell one with 'pitlogger meal', or give --portion"
        )
    eaten, variance = None, 0.0
    if portion is None:
        if past.appetite.n == 0:
            raise UsageError("--from-meals: no past meal tells what guests ate; give --portion")
        eaten = Portion(mass_g=past.appetite.median)
        variance += past.appetite.cv**2
    if show_rate_pct is None and not terms.paid and past.turnout.n:
        terms = replace(terms, show_rate=min(1.0, past.turnout.median))
        variance += past.turnout.cv**2
    return replace(terms, shared_cv=variance**0.5), eaten


def meal_notes(past: PastMeals, used: bool) -> Iterator[str]:
    """Say what past meals tell, and whether it was used."""
    if past.appetite.n:
        low, high = (show_mass(past.appetite.quantile(p) * 1000) for p in (0.1, 0.9))
        yield (
            f"Guests ate {show_mass(past.appetite.median * 1000)} each at past meals (n = "
            f"{past.appetite.n}; the next one, 80 in 100: {low} to {high})."
        )
    if past.turnout.n:
        low, high = (f"{past.turnout.quantile(p):.0%}" for p in (0.1, 0.9))
        yield (
            f"{past.turnout.median:.0%} of those booked came (n = {past.turnout.n}; the next "
            f"time, 80 in 100: {low} to {high})."
        )
    if past.any_told and not used:
        yield "--from-meals plans with what past meals were like."


def tender_notes(history: Sequence[PastPiece], cut: str) -> Iterator[str]:
    """Say how tender pieces were by wrap and pull temperature, where that was marked."""
    levels = tender_levels(piece for piece in history if piece.cut == cut)
    for factor in ("wrap", "pull_at"):
        told = [level for level in levels if level.factor == factor]
        if told:
            means = ", ".join(f"{level.value} {level.mean:.1f} (n = {level.n})" for level in told)
            yield (
                f"Tenderness by {factor.replace('_', ' ')}, 3 as it should be: {means}. "
                "No cause is claimed."
            )
