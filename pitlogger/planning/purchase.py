"""How much raw meat for these guests: the question and its answer, of one cut or a menu.

>>> from pitlogger.planning import Dish, PlanQuestion, Portion, plan
>>> plan(PlanQuestion(guests=45, dishes=(Dish("brisket-packer"),), portion=Portion(140.0)))
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pitlogger.errors import FieldError
from pitlogger.formats.written_mass import checkpoint_name
from pitlogger.planning.fields import Dish, Portion, read
from pitlogger.planning.past import PastCooks
from pitlogger.planning.plan_answer import (
    Basis,
    Bought,
    DishPlan,
    Factor,
    PlanAnswer,
    ShortfallShown,
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
from pitlogger.yields.learned.servable import Learned, learn, whole_pieces
from pitlogger.yields.purchase.demand import Demand, Party, demand
from pitlogger.yields.purchase.masses import Enough, PieceMass
from pitlogger.yields.purchase.plan import Question, plan_by_count
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
    dishes = tuple(
        _dish(question, dish, dish.portion or eaten or Portion(), terms, past)
        for dish in question.dishes
    )
    notes += portion_notes(question, eaten)
    if len(dishes) > 1:
        notes.append(_any_short(dishes))
    shopping = tuple(Bought(dish.cut, dish.recommended, dish.purchase_g) for dish in dishes)
    return PlanAnswer(dishes, shopping, tuple(notes), meals_shown(past.meals))


def _any_short(dishes: Sequence[DishPlan]) -> str:
    """Say how likely it is at most that one of the dishes runs short."""
    risks = [
        1.0 - option.p_enough
        for dish in dishes
        for option in dish.options
        if option.pieces == (dish.recommended or len(dish.options))
    ]
    return (
        "Each dish keeps the risk by itself; that one of them runs short is likelier, at most "
        f"{min(1.0, sum(risks)):.1%}."
    )


def _dish(
    question: PlanQuestion, dish: Dish, portion: Portion, terms: Terms, past: PastCooks
) -> DishPlan:
    """Return the plan of one cut."""
    start = _start(question)
    learned = learn(dish.cut, past.observed, question.prior, start, question.factors)
    sd_g = portion_sd_g(question, portion.mass_g)
    share = question.child_share_pct / 100
    people = parties(question.guests, question.children, portion, sd_g, share)
    typical, is_prior = typical_piece(dish.cut, question.piece_mass_g, question.piece_sd_g)
    if start != "purchased":
        typical = _as_at(typical, learned, learn(dish.cut, past.observed))
    weighed = tuple(map(PieceMass, question.pieces_g))
    wanted = _wanted(people, portion, dish, terms, typical, learned)
    asked = Question(learned, wanted, terms.risk, typical, weighed)
    if portion.count:
        per_piece = portions_per_piece(portion, dish.cut)
        found = plan_by_count(asked, _shared(people, dish), terms.show_rate, per_piece)
    else:
        found = plan_by_mass(asked)
    seen = sum(whole.record.cut == dish.cut for whole in whole_pieces(past.pieces))
    notes = (
        *basis_notes(learned, seen - learned.n, is_prior and not weighed, typical, start),
        *factor_notes(learned),
        *tender_notes(past.pieces, dish.cut),
        *margin_notes(terms, found, asked, question.price_per_g),
        *money_notes(question.price_per_g, question.budget, found, asked),
        *result_notes(found, asked),
    )
    short = None
    if weighed and found.recommended is None and not portion.count:
        short = _shortfall(asked, question.light_by)
    return DishPlan(
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


def _rounded(option: Enough) -> Enough:
    masses_g = (option.expected_g, option.sd_g, option.leftover_g)
    return Enough(option.pieces, round(option.p_enough, 6), *(round(g, 3) for g in masses_g))


def _shortfall(asked: Question, light_by: str | None) -> ShortfallShown:
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


def typical_piece(cut: str, mass_g: float | None, sd_g: float | None) -> tuple[PieceMass, bool]:
    """Return the mass of a piece to be bought, and whether it is only a prior.

    What is not given comes from the cut's policy.
    """
    usual = shipped_cuts()[cut]
    if usual.mass_mg is not None:
        own = PieceMass(usual.mass_mg / 1000, (usual.mass_sd_mg or 0) / 1000)
    elif mass_g is not None:
        own = PieceMass(mass_g)
    else:
        raise FieldError("piece_mass_g", f"no piece mass is known for {cut}; give one, such as 5lb")
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


def _basis(learned: Learned) -> Basis:
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
    return Basis(learned.n, median, p10, p90, learned.prior, factors or None)
