"""How much raw meat for these guests: the question and its answer, of one cut or a menu.

>>> from pitlogger.planning import Dish, PlanQuestion, Portion, plan
>>> plan(PlanQuestion(guests=45, dishes=(Dish("brisket-packer"),), portion=Portion(140.0)))
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from pitlogger.errors import FieldError
from pitlogger.formats.written_mass import checkpoint_name
from pitlogger.model.quantities import show_share
from pitlogger.planning.fields import Dish, Portion, read
from pitlogger.planning.past import PastCooks
from pitlogger.planning.plan_answer import (
    Bought,
    DishPlan,
    Factor,
    PlanAnswer,
    ShortfallShown,
    YieldBasis,
)
from pitlogger.planning.plan_meals import (
    as_at_meals,
    meal_notes,
    meals_shown,
    tender_notes,
)
from pitlogger.planning.plan_notes import (
    basis_notes,
    factor_notes,
    margin_notes,
    money_notes,
    portion_notes,
    result_notes,
)
from pitlogger.planning.plan_question import PlanQuestion
from pitlogger.planning.terms import Terms, parties, portion_sd_g, portions_per_piece, terms_of
from pitlogger.rules.policies import shipped_cuts
from pitlogger.yields.causes import PLACE
from pitlogger.yields.learned.kitchen import in_common
from pitlogger.yields.learned.servable import Learned
from pitlogger.yields.purchase.demand import Demand, Party, demand
from pitlogger.yields.purchase.joint import none_short
from pitlogger.yields.purchase.masses import Enough, PieceMass
from pitlogger.yields.purchase.plan import PurchaseQuestion, plan_by_count
from pitlogger.yields.purchase.plan import plan as plan_by_mass
from pitlogger.yields.purchase.rescue import shortfall

NO_PAST = PastCooks()


def plan(question: PlanQuestion, past: PastCooks = NO_PAST) -> PlanAnswer:
    """Return how many pieces to buy of each dish, and how likely each number is enough.

    Raises:
        FieldError: A field that cannot be used; it names the field.
    """
    terms = terms_of(question.paid, question.risk_pct, question.show_rate_pct, question.over_pct)
    notes = [*past.notes, *meal_notes(past.meals, used=question.from_meals)]
    eaten = question.portion
    if question.from_meals:
        rate_given = question.show_rate_pct is not None
        terms, at_meals = as_at_meals(past.meals, terms, eaten, show_rate_given=rate_given)
        eaten = eaten or at_meals
    found = [
        _dish(question, dish, dish.portion or eaten or Portion(), terms, past)
        for dish in question.dishes
    ]
    dishes = tuple(dish for dish, _ in found)
    notes += portion_notes(question, eaten)
    p_all = None
    if len(dishes) > 1:
        p_all = round(none_short([_chance(dish) for dish in dishes], [c for _, c in found]), 6)
        notes.append(_any_short(dishes, p_all))
    shopping = tuple(Bought(dish.cut, dish.recommended, dish.purchase_g) for dish in dishes)
    return PlanAnswer(dishes, shopping, tuple(notes), p_all, meals_shown(past.meals))


def _chance(dish: DishPlan) -> float:
    """Return the chance that a dish is enough, as recommended, else with all that is there."""
    pieces = dish.recommended or len(dish.options)
    return next(option.p_enough for option in dish.options if option.pieces == pieces)


def _any_short(dishes: Sequence[DishPlan], p_all: float) -> str:
    """Say how likely it is that one of the dishes runs short."""
    most = min(1.0, sum(1.0 - _chance(dish) for dish in dishes))
    return (
        "Each dish keeps the risk by itself; that one of them runs short is likelier, at most "
        f"{show_share(most, 1)}: {show_share(1.0 - p_all, 1)} with what cooks of one day share."
    )


def _dish(
    question: PlanQuestion, dish: Dish, portion: Portion, terms: Terms, past: PastCooks
) -> tuple[DishPlan, float]:
    """Return the plan of one cut, and which share of the variance its pieces have in common."""
    start = _start(question)
    learned = past.learned(dish.cut, question.prior, start, question.factors)
    people = parties(
        question.guests,
        question.children,
        portion,
        portion_sd_g(question, portion.mass_g),
        question.child_share_pct / 100,
    )
    typical, is_prior = typical_piece(dish, question)
    if start != "purchased":
        typical = _as_at(typical, learned, past.learned(dish.cut))
    weighed = tuple(map(PieceMass, question.pieces_g))
    wanted = _wanted(people, portion, dish, terms, typical, learned)
    wanted = replace(wanted, mean_g=wanted.mean_g + question.leave_g * dish.share)
    asked = PurchaseQuestion(
        learned,
        wanted,
        terms.risk,
        typical,
        weighed,
        there=tuple(map(PieceMass, dish.order.there_g)),
        multiple=dish.order.case_pieces,
        least=math.ceil(dish.order.at_least_g / typical.mean_g - 1e-9),
    )
    if portion.count:
        per_piece = portions_per_piece(portion, dish.cut)
        found = plan_by_count(asked, _shared(people, dish), terms.show_rate, per_piece)
    else:
        found = plan_by_mass(asked)
    left_out = sum(whole.record.cut == dish.cut for whole in past.whole) - learned.n
    notes = (
        *basis_notes(learned, left_out, is_prior and not weighed, typical, start),
        *factor_notes(learned),
        *tender_notes(past.pieces, dish.cut),
        *margin_notes(terms, found, asked, question.price_per_g),
        *money_notes(question.price_per_g, question.budget, found, asked),
        *result_notes(found, asked),
    )
    short = None
    if weighed and found.recommended is None and not portion.count:
        short = _shortfall(asked, question.light_by)
    answer = DishPlan(
        dish.cut,
        round(wanted.mean_g, 3),
        round(wanted.sd_g, 3),
        tuple(map(_rounded, found.options)),
        found.recommended,
        None if found.purchase_g is None else round(found.purchase_g, 3),
        _basis(learned),
        notes,
        short,
    )
    return answer, in_common(learned.parts)


def _rounded(option: Enough) -> Enough:
    masses_g = (option.expected_g, option.sd_g, option.leftover_g)
    return Enough(option.pieces, round(option.p_enough, 6), *(round(g, 3) for g in masses_g))


def _shortfall(asked: PurchaseQuestion, light_by: str | None) -> ShortfallShown:
    short = shortfall(asked, light_by)
    remedies = tuple(replace(r, p_enough=round(r.p_enough, 6)) for r in short.remedies)
    return ShortfallShown(round(short.p_enough, 6), round(short.short_g), remedies)


def _start(question: PlanQuestion) -> str:
    start = read("weighed_at", checkpoint_name, question.weighed_at)
    if start not in PLACE or PLACE[start] >= PLACE["carved"]:
        raise FieldError("weighed_at", f"{start} is not a weighing before carving")
    if start != "purchased" and not question.pieces_g:
        raise FieldError(
            "weighed_at", f"{{weighed_at}} {start} needs {{pieces_g}}, the masses weighed there"
        )
    return start


def typical_piece(dish: Dish, question: PlanQuestion) -> tuple[PieceMass, bool]:
    """Return the mass of a piece to be bought, and whether it is only a prior.

    What is not given comes from the cut's policy.
    """
    mass_g, sd_g = question.piece_mass_g, question.piece_sd_g
    usual, ordered = shipped_cuts()[dish.cut], dish.order.piece()
    if ordered is not None:
        return ordered, False
    if usual.mass_mg is not None:
        own = PieceMass(usual.mass_mg / 1000, (usual.mass_sd_mg or 0) / 1000)
    elif mass_g is not None:
        own = PieceMass(mass_g)
    else:
        reason = f"no piece mass is known for {dish.cut}; give one, such as 5lb"
        raise FieldError("piece_mass_g", reason)
    if mass_g is not None:
        own = PieceMass(mass_g, own.sd_g * mass_g / own.mean_g)
    if sd_g is not None:
        own = replace(own, sd_g=sd_g)
    if own.sd_g > own.mean_g / 2:
        raise FieldError(
            "piece_sd_g",
            f"{own.sd_g:.0f} g is more than half of the piece's {own.mean_g:.0f} g; check the unit",
        )
    return own, mass_g is None


def _as_at(typical: PieceMass, learned: Learned, whole: Learned) -> PieceMass:
    """Return a piece to be bought as what it would weigh at a later checkpoint, by the medians."""
    factor = whole.quantile(0.5) / learned.quantile(0.5)
    return PieceMass(typical.mean_g * factor, typical.sd_g * factor)


def _shared(people: tuple[Party, ...], dish: Dish) -> tuple[Party, ...]:
    """Return the people who take this dish, where portions are counted."""
    return tuple(Party(round(p.guests * dish.share), p.portion_g) for p in people)


def _wanted(
    people: tuple[Party, ...],
    portion: Portion,
    dish: Dish,
    terms: Terms,
    typical: PieceMass,
    learned: Learned,
) -> Demand:
    if portion.count:
        one_g = typical.mean_g * learned.quantile(0.5) / portions_per_piece(portion, dish.cut)
        people = tuple(Party(p.guests, p.portion_g * one_g) for p in people)
    return demand(people, terms.show_rate, terms.over, dish.share, terms.shared_cv)


def _basis(learned: Learned) -> YieldBasis:
    factors = tuple(
        Factor(
            effect.factor,
            effect.value,
            effect.n,
            effect.shift is not None,
            None if effect.shift is None else round(effect.shift, 6),
        )
        for effect in learned.effects
    )
    median, p10, p90 = (round(learned.quantile(p), 6) for p in (0.5, 0.1, 0.9))
    return YieldBasis(learned.n, median, p10, p90, learned.prior, factors or None)
