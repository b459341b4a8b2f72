"""The answer of `pitlogger plan`: a question for each cut, its document and its text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from pitlogger.cli.history import check_cut, load_history
from pitlogger.cli.output import table
from pitlogger.cli.plan_inputs import (
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
from pitlogger.cli.plan_notes import (
    appetite_notes,
    basis_notes,
    margin_notes,
    money_notes,
    result_notes,
)
from pitlogger.errors import UsageError
from pitlogger.formats.written_mass import checkpoint_name
from pitlogger.model.quantities import show_mass
from pitlogger.yields.causes import PLACE
from pitlogger.yields.demand import Demand, Party, demand
from pitlogger.yields.learning import Learned, Observed, learn, observations, whole_pieces
from pitlogger.yields.plan import Plan, Question, plan, plan_by_count
from pitlogger.yields.records import PastPiece
from pitlogger.yields.rescue import shortfall
from pitlogger.yields.sufficiency import PieceMass


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
    notes += appetite_notes(past)
    if given.menu is None:
        assert given.cut is not None, "_check_together wants a cut without a menu"
        return _dish(given, Dish(check_cut(given.cut), 1.0), terms, past, observed, notes)
    dishes = [
        {"cut": dish.cut, **_dish(given, dish, terms, past, observed, [])}
        for dish in read_menu(given.menu)
    ]
    notes.append("Each dish keeps the risk by itself; that one of them runs short is likelier.")
    shopping = [
        {"cut": dish["cut"], "pieces": dish["recommended"], "purchase_g": dish["purchase_g"]}
        for dish in dishes
    ]
    return {"dishes": dishes, "shopping": shopping, "notes": notes}


def _check_together(given: Given) -> None:
    if (given.cut is None) == (given.menu is None):
        raise UsageError("give --cut for one cut or --menu for several, one of the two")
    if given.pieces is not None and (given.piece_mass or given.piece_sd):
        raise UsageError("--pieces are weighed: leave --piece-mass and --piece-sd out")
    if given.menu is not None and (given.pieces or given.piece_mass or given.piece_sd):
        raise UsageError("--menu has pieces of several cuts: plan weighed pieces one --cut a time")
    if given.menu is None and given.portion is None:
        raise UsageError("--portion is missing: how much a guest gets, such as 5oz or 140 g")
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
    learned = learn(dish.cut, observed, given.prior, start)
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
        *margin_notes(terms, found, question),
        *money_notes(given.price, given.budget, found, question),
        *result_notes(found, question),
    ]
    document = _document(found, wanted, learned, all_notes)
    if weighed and found.recommended is None and not portion.count:
        document["shortfall"] = _shortfall(question, given.light_by or "")
    return document


def _shortfall(question: Question, light_by: str) -> dict[str, Any]:
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
        return demand(people, terms.show_rate, terms.over, dish.share)
    one_g = typical.mean_g * learned.quantile(0.5) / portions_per_piece(portion, dish.cut)
    counted = tuple(Party(p.guests, p.portion_g * one_g) for p in people)
    return demand(counted, terms.show_rate, terms.over, dish.share)


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
        },
        "notes": notes,
    }


def answer_text(document: dict[str, Any], people: int, cut: str | None) -> str:
    """Return the answer for people: one line first, then the options and the notes."""
    if "dishes" in document:
        parts = [
            f"{dish['cut']}\n{_dish_text(dish, people, dish['cut'])}" for dish in document["dishes"]
        ]
        return "\n\n".join([*parts, *(f"- {note}" for note in document["notes"])])
    return _dish_text(document, people, cut or "piece")


def _dish_text(document: dict[str, Any], people: int, cut: str) -> str:
    rows = [
        [
            str(option["pieces"]),
            f"{option['p_enough']:.3f}",
            show_mass(option["expected_g"] * 1000),
            show_mass(option["leftover_g"] * 1000),
        ]
        for option in _near(document["options"])
    ]
    return "\n".join(
        [
            _first_line(document, people, cut),
            "",
            table(rows, ["pieces", "p enough", "servable", "left over"]),
            _basis_line(document["basis"]),
            *(f"- {note}" for note in document["notes"]),
            *_short_lines(document.get("shortfall")),
        ]
    )


def _basis_line(basis: dict[str, Any]) -> str:
    return (
        f"Servable yield of the next cook: {basis['median']:.1%}, 80 in 100 between "
        f"{basis['p10']:.1%} and {basis['p90']:.1%} (n = {basis['n']}, prior {basis['prior']})."
    )


def _short_lines(short: dict[str, Any] | None) -> list[str]:
    if short is None:
        return []
    lines = [f"Short by {show_mass(short['short_g'] * 1000)} servable. What still helps:"]
    return lines + [
        f"  {_chance(remedy['p_enough']):>6}  {remedy['message']}" for remedy in short["remedies"]
    ]


def _near(options: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Leave out the options that are hopeless, but for the last of them."""
    hopeless = sum(option["p_enough"] < 0.0005 for option in options)
    return options[max(0, min(hopeless, len(options)) - 1) :]


def _first_line(document: dict[str, Any], people: int, cut: str) -> str:
    """Answer the question in one line: twenty guests, one or two?"""
    best = document["recommended"]
    guests = f"{people} guest{'s' * (people != 1)}"
    chances = {option["pieces"]: option["p_enough"] for option in document["options"]}
    if best is None:
        most = max(chances)
        return f"{guests}: not enough; {_pieces(most)} would do with {_chance(chances[most])}."
    bought = show_mass(document["purchase_g"] * 1000)
    line = f"{guests}: {best} {cut}, {bought} raw (enough with {_chance(chances[best])}"
    if best > 1:
        line += f"; {best - 1} with {_chance(chances[best - 1])}"
    return line + ")."


def _pieces(count: int) -> str:
    return f"{count} piece{'s' * (count != 1)}"


def _chance(p: float) -> str:
    return "more than 999 in 1000" if p > 0.999 else f"{p:.1%}"
