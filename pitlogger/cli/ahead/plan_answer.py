"""The answer of `pitlogger plan`: a question for each cut, and its document."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from pitlogger.cli.ahead.history import check_cut, load_history
from pitlogger.cli.ahead.plan_another import light_by
from pitlogger.cli.ahead.plan_inputs import (
    Dish,
    Portion,
    Terms,
    grams,
    parties,
    portions_per_piece,
    read_menu,
    read_pieces,
    read_portion,
    read_terms,
    typical_piece,
)
from pitlogger.cli.ahead.plan_meals import as_at_meals, meal_notes, past_meals, tender_notes
from pitlogger.cli.ahead.plan_notes import (
    basis_notes,
    factor_notes,
    margin_notes,
    money_notes,
    result_notes,
)
from pitlogger.errors import UsageError
from pitlogger.formats.written_mass import checkpoint_name
from pitlogger.model.quantities import parse_temperature_mc, show_temperature
from pitlogger.yields.causes import PLACE
from pitlogger.yields.learned.servable import Learned, Observed, learn, observations, whole_pieces
from pitlogger.yields.purchase.demand import Demand, Party, demand
from pitlogger.yields.purchase.plan import Plan, Question, plan, plan_by_count
from pitlogger.yields.purchase.rescue import shortfall
from pitlogger.yields.purchase.sufficiency import PieceMass
from pitlogger.yields.records import PastPiece


@dataclass(frozen=True, slots=True)
class Given:
    """The options as typed."""

    guests: int
    children: int = 0
    child_share: float = 50.0
    portion: str | None = None
    portion_sd: str | None = None
    cut: str | None = None
    menu: str | None = None
    piece_mass: str | None = None
    piece_sd: str | None = None
    pieces: str | None = None
    weighed_at: str = "purchased"
    over_pct: float = 0.0
    risk_pct: float | None = None
    show_rate_pct: float | None = None
    profile: str | None = None
    price: str | None = None
    budget: str | None = None
    history_file: Path | None = None
    prior: Literal["cut", "flat"] = "cut"
    seed: int | None = None
    light_by: str | None = None
    serve_at: str | None = None
    from_meals: bool = False
    grade: str | None = None
    supplier: str | None = None
    wrap: str | None = None
    pull_at: str | None = None
    on_pit: str | None = None

    @property
    def asked(self) -> dict[str, str]:
        """Return the factors of the next cook, as past pieces have them."""
        pull_at = self.pull_at and show_temperature(parse_temperature_mc(self.pull_at))
        told = {
            "grade": self.grade,
            "supplier": self.supplier,
            "wrap": self.wrap,
            "pull_at": pull_at,
            "pit": self.on_pit,
        }
        return {factor: value for factor, value in told.items() if value}


def answer(given: Given) -> dict[str, Any]:
    """Return the plan document; with a menu, one for each dish and a shopping list.

    Raises:
        UsageError: Something given cannot be read, is missing, or contradicts another.
    """
    _check_together(given)
    terms = read_terms(given.profile, given.risk_pct, given.show_rate_pct, given.over_pct)
    history, notes = load_history(given.history_file)
    past = history.pieces()
    observed = observations(past)
    told = past_meals(past)
    notes += meal_notes(told, given.from_meals)
    eaten = None
    if given.from_meals:
        terms, eaten = as_at_meals(told, terms, given.portion, given.show_rate_pct)
    meals = {"meals": told.document()} if told.any_told else {}
    if given.menu is None:
        assert given.cut is not None, "_check_together wants a cut without a menu"
        dish = Dish(check_cut(given.cut), 1.0, eaten)
        return {"cut": dish.cut, **_dish(given, dish, terms, past, observed, notes), **meals}
    dishes = [
        {"cut": dish.cut, **_dish(given, _eaten(dish, eaten), terms, past, observed, [])}
        for dish in read_menu(given.menu)
    ]
    notes.append(_any_short(dishes))
    shopping = [
        {"cut": dish["cut"], "pieces": dish["recommended"], "purchase_g": dish["purchase_g"]}
        for dish in dishes
    ]
    return {"dishes": dishes, "shopping": shopping, "notes": notes, **meals}


def _any_short(dishes: Sequence[dict[str, Any]]) -> str:
    """Say how likely it is at most that one of the dishes runs short."""
    risks = [
        1.0 - option["p_enough"]
        for dish in dishes
        for option in dish["options"]
        if option["pieces"] == (dish["recommended"] or len(dish["options"]))
    ]
    return (
        "Each dish keeps the risk by itself; that one of them runs short is likelier, at most "
        f"{min(1.0, sum(risks)):.1%}."
    )


def _eaten(dish: Dish, eaten: Portion | None) -> Dish:
    return dish if dish.portion or eaten is None else replace(dish, portion=eaten)


def _check_together(given: Given) -> None:
    if (given.cut is None) == (given.menu is None):
        raise UsageError("give --cut for one cut or --menu for several, one of the two")
    if given.pieces is not None and (given.piece_mass or given.piece_sd):
        raise UsageError("--pieces are weighed: leave --piece-mass and --piece-sd out")
    if given.menu is not None and (given.pieces or given.piece_mass or given.piece_sd):
        raise UsageError("--menu has pieces of several cuts: plan weighed pieces one --cut a time")
    if given.menu is None and given.portion is None and not given.from_meals:
        raise UsageError("--portion is missing: how much a guest gets, such as 5oz or 140 g")
    if given.light_by is not None and given.serve_at is not None:
        raise UsageError("--serve-at says --light-by by itself: leave one of the two out")
    if given.budget is not None and given.price is None:
        raise UsageError("--budget needs --price, such as 4.29/lb")
    if min(given.guests, given.children) < 0:
        raise UsageError("--guests and --children cannot be below zero")
    if not 0 <= given.child_share <= 100:
        raise UsageError(f"--child-share: {given.child_share:g} % is not between 0 and 100")


def _dish(
    given: Given,
    dish: Dish,
    terms: Terms,
    past: Sequence[PastPiece],
    observed: Sequence[Observed],
    notes: list[str],
) -> dict[str, Any]:
    """Return the document of one cut."""
    portion = dish.portion or read_portion(_portion(given, dish))
    start = _start(given)
    learned = learn(dish.cut, observed, given.prior, start, given.asked)
    seen = sum(whole.record.cut == dish.cut for whole in whole_pieces(past))
    sd_g = grams(given.portion_sd, "--portion-sd") if given.portion_sd else 0.0
    people = parties(given.guests, given.children, portion, sd_g, given.child_share / 100)
    typical, is_prior = typical_piece(dish.cut, given.piece_mass, given.piece_sd)
    weighed = read_pieces(given.pieces) if given.pieces else ()
    if start != "purchased":
        typical = _as_at(start, typical, learned, learn(dish.cut, observed))
    wanted = _wanted(people, portion, dish, terms, typical, learned)
    question = Question(learned, wanted, terms.risk, typical, weighed)
    if portion.count:
        per_piece = portions_per_piece(portion, dish.cut)
        found = plan_by_count(question, _shared(people, dish), terms.show_rate, per_piece)
    else:
        found = plan(question)
    all_notes = [
        *notes,
        *basis_notes(learned, seen - learned.n, is_prior and not weighed, typical, start),
        *factor_notes(learned),
        *tender_notes(past, dish.cut),
        *margin_notes(terms, found, question, given.price),
        *money_notes(given.price, given.budget, found, question),
        *result_notes(found, question),
    ]
    document = _document(found, wanted, learned, all_notes)
    if weighed and found.recommended is None and not portion.count:
        document["shortfall"] = _shortfall(question, _light_by(given, dish.cut))
    return document


def _light_by(given: Given, cut: str) -> str | None:
    if given.serve_at is None:
        return given.light_by or ""
    return light_by(given.serve_at, cut)


def _shortfall(question: Question, light_by: str | None) -> dict[str, Any]:
    short = shortfall(question, light_by)
    return {
        "p_enough": round(short.p_enough, 6),
        "short_g": round(short.short_g),
        "remedies": [
            {"remedy": r.remedy, "p_enough": round(r.p_enough, 6), "message": r.message}
            for r in short.remedies
        ],
    }


def _portion(given: Given, dish: Dish) -> str:
    if given.portion is None:
        raise UsageError(f"no portion for {dish.cut}: give --portion, or {dish.cut}:60%:5oz")
    return given.portion


def _start(given: Given) -> str:
    start = checkpoint_name(given.weighed_at)
    if start not in PLACE or PLACE[start] >= PLACE["carved"]:
        raise UsageError(f"--weighed-at: {start} is not a weighing before carving")
    if start != "purchased" and given.pieces is None:
        raise UsageError(f"--weighed-at {start} needs --pieces, the masses weighed there")
    return start


def _as_at(start: str, typical: PieceMass, learned: Learned, whole: Learned) -> PieceMass:
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
    if not portion.count:
        return demand(people, terms.show_rate, terms.over, dish.share, terms.shared_cv)
    one_g = typical.mean_g * learned.quantile(0.5) / portions_per_piece(portion, dish.cut)
    counted = tuple(Party(p.guests, p.portion_g * one_g) for p in people)
    return demand(counted, terms.show_rate, terms.over, dish.share, terms.shared_cv)


def _document(found: Plan, wanted: Demand, learned: Learned, notes: list[str]) -> dict[str, Any]:
    return {
        "demand_g": round(wanted.mean_g, 3),
        "demand_sd_g": round(wanted.sd_g, 3),
        "options": [
            {
                "pieces": option.pieces,
                "p_enough": round(option.p_enough, 6),
                "expected_g": round(option.expected_g, 3),
                "sd_g": round(option.sd_g, 3),
                "leftover_g": round(option.leftover_g, 3),
            }
            for option in found.options
        ],
        "recommended": found.recommended,
        "purchase_g": None if found.purchase_g is None else round(found.purchase_g, 3),
        "basis": {
            "n": learned.n,
            "median": round(learned.quantile(0.5), 6),
            "p10": round(learned.quantile(0.1), 6),
            "p90": round(learned.quantile(0.9), 6),
            "prior": learned.prior,
            **_factors(learned),
        },
        "notes": notes,
    }


def _factors(learned: Learned) -> dict[str, Any]:
    """Return what the factors asked for did, where any was."""
    if not learned.effects:
        return {}
    return {
        "factors": [
            {
                "factor": effect.factor,
                "value": effect.value,
                "n": effect.n,
                "used": effect.shift is not None,
                "shift_logit": None if effect.shift is None else round(effect.shift, 6),
            }
            for effect in learned.effects
        ]
    }
