"""The answer of a plan, typed; masses in grams, yields as fractions of what was purchased."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pitlogger.planning.document import as_fields
from pitlogger.planning.plan_meals import MealsShown
from pitlogger.yields.learned.servable import PriorKind
from pitlogger.yields.purchase.masses import Enough
from pitlogger.yields.purchase.rescue import Remedy


@dataclass(frozen=True, slots=True)
class Factor:
    """What a factor asked for did to the yield."""

    factor: str
    value: str
    n: int
    used: bool
    shift_logit: float | None


@dataclass(frozen=True, slots=True)
class YieldBasis:
    """Servable yield of the next cook, as fractions of purchased, and what it rests on."""

    n: int
    median: float
    p10: float
    p90: float
    prior: PriorKind
    factors: tuple[Factor, ...] | None = None


@dataclass(frozen=True, slots=True)
class ShortfallShown:
    """Weighed pieces that do not keep the risk, and what still helps."""

    p_enough: float
    short_g: int
    remedies: tuple[Remedy, ...]


@dataclass(frozen=True, slots=True)
class DishPlan:
    """The answer for one cut; masses in grams. ``recommended`` is ``None`` where none is enough."""

    cut: str
    demand_g: float
    demand_sd_g: float
    options: tuple[Enough, ...]
    recommended: int | None
    purchase_g: float | None
    basis: YieldBasis
    notes: tuple[str, ...]
    shortfall: ShortfallShown | None = None


@dataclass(frozen=True, slots=True)
class Bought:
    """A line of the shopping list."""

    cut: str
    pieces: int | None
    purchase_g: float | None


@dataclass(frozen=True, slots=True)
class PlanAnswer:
    """A plan for each dish; ``notes`` belong to all of them.

    ``p_all_enough`` is the chance that none of several runs short, each as recommended.
    """

    dishes: tuple[DishPlan, ...]
    shopping: tuple[Bought, ...]
    notes: tuple[str, ...]
    p_all_enough: float | None = None
    meals: MealsShown | None = None

    def document(self) -> dict[str, Any]:
        """Return it as ``pitlogger plan --json`` prints it: one cut stands without a list."""
        whole = as_fields(self)
        if len(self.dishes) > 1:
            return whole
        (dish,) = whole["dishes"]
        meals = {"meals": whole["meals"]} if "meals" in whole else {}
        return {**dish, "notes": [*whole["notes"], *dish["notes"]], **meals}
