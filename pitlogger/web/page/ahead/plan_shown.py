"""The answers of the Plan screen as they are shown: what to buy, when, for how much."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from pitlogger.formats.money import cents
from pitlogger.reports.pictures import enough_curve
from pitlogger.views import words
from pitlogger.views.entries import both
from pitlogger.views.language import date, figure, tr, trn
from pitlogger.views.shown import Shown, chance, percent
from pitlogger.web.page.ahead.plan_fields import suffix
from pitlogger.web.page.records.past import own_ids
from pitlogger.yields.money.pricing import price_for_food_cost


def shown_answers(made: dict[str, Any], fields: Mapping[str, str], shown: Shown) -> dict[str, Any]:
    """Return what a plan, its schedules and its prices say."""
    people = int(fields["guests"]) + int(fields["children"] or 0)
    schedules = made.get("schedules", [])
    return {
        "sentence": _sentence(made["dishes"], people, shown),
        "dishes": [_dish(dish, number, shown) for number, dish in enumerate(made["dishes"], 1)],
        "notes": _notes(made),
        "events": _events(schedules),
        "schedule_notes": list(dict.fromkeys(note for one in schedules for note in one["notes"])),
        "prices": _prices(made, people),
        "fault_later": made.get("fault_later"),
        "at_fault": made.get("at_fault", ""),
        "begin": _begin(made["dishes"], fields),
    }


def _sentence(dishes: list[dict[str, Any]], people: int, shown: Shown) -> str:
    guests = trn("{count} guest", "{count} guests", people)
    short = [words.cut(dish["cut"]) for dish in dishes if not dish["recommended"]]
    if short:
        return tr(
            "{guests}: not enough {names} by any number looked at.",
            guests=guests,
            names=both(short),
        )
    bought = [f"{dish['recommended']} × {words.cut(dish['cut'])}" for dish in dishes]
    mass = shown.mass_g(sum(dish["purchase_g"] for dish in dishes))
    chances = [chance(_p_enough(dish)) for dish in dishes]
    parts = tr("{names}, {mass} raw", names=both(bought), mass=mass)
    return tr(
        "{guests}: buy {parts}; enough with {names}.",
        guests=guests,
        parts=parts,
        names=both(chances),
    )


def _p_enough(dish: dict[str, Any]) -> float:
    best = dish["recommended"]
    return next(float(one["p_enough"]) for one in dish["options"] if one["pieces"] == best)


def _dish(dish: dict[str, Any], number: int, shown: Shown) -> dict[str, Any]:
    basis = dish["basis"]
    return {
        "cut": dish["cut"],
        "name": words.cut(dish["cut"]),
        "pieces": dish["recommended"],
        "mass": shown.mass_g(dish["purchase_g"]),
        "curve": own_ids(enough_curve(dish), f"enough{number}"),
        "options": [
            {
                "pieces": one["pieces"],
                "chance": chance(one["p_enough"]),
                "servable": shown.mass_g(one["expected_g"]),
                "left": shown.mass_g(one["leftover_g"]),
                "best": one["pieces"] == dish["recommended"],
            }
            for one in dish["options"]
        ],
        "basis": (
            tr(
                "Servable yield of the next cook: {median} of purchase, 8 in 10 between {p10}"
                " and {p90}. Own cooks: {n}; the rest are published figures.",
                median=percent(basis["median"]),
                p10=percent(basis["p10"]),
                p90=percent(basis["p90"]),
                n=basis["n"],
            )
        ),
    }


def _notes(made: dict[str, Any]) -> list[str]:
    """Return the notes, those of one cut of several with its name."""
    several = len(made["dishes"]) > 1
    own = [
        f"{words.cut(dish['cut'])}: {note}" if several else note
        for dish in made["dishes"]
        for note in dish["notes"]
    ]
    return [*own, *made["notes"]]


def _events(schedules: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return everything to do in order of time; what falls together of several cuts is one."""
    found: dict[tuple[datetime, str], list[str]] = {}
    for schedule in schedules:
        for event in schedule["events"]:
            at = datetime.fromisoformat(event["at"]).astimezone()
            found.setdefault((at, event["what"]), []).extend(event["pieces"])
    fires = [at for at, what in found if what.startswith("light the fire")]
    for later in sorted(fires)[1:]:
        del found[later, "light the fire"]  # it burns already for the cut that takes longest
    return [
        {
            "iso": at.isoformat(timespec="minutes"),
            "at": f"{date(minute := at + timedelta(seconds=30))} {minute:%H:%M}",
            "what": what,
            "pieces": pieces,
        }
        for (at, what), pieces in sorted(found.items())
    ]


def _prices(made: dict[str, Any], people: int) -> list[tuple[str, str]]:
    """Return the money lines in words."""
    cards = made.get("cards", [])
    if not cards:
        return []
    currency, several = made["currency"], len(made["dishes"]) > 1
    lines = []
    for cut, card in cards:
        if several:
            lines.append((tr("{cut}, raw", cut=words.cut(cut)), card["cost"]))
        lines.append(
            (
                tr("a pound of {cut} that can be served", cut=words.cut(cut)),
                card["salable"]["cost_per_lb"],
            )
        )
    total = sum((card["cost"] for _, card in cards), Decimal(0))
    if len(cards) == len(made["dishes"]):
        lines.append((tr("raw meat, all of it"), total))
        lines.append((tr("meat for a guest, leftovers too"), total / people))
        if (target := made.get("target")) is not None:
            price = price_for_food_cost(total / people, target)
            lines.append(
                (
                    tr(
                        "price for a guest at {share} % food cost",
                        share=figure(f"{float(target) * 100:g}"),
                    ),
                    price,
                )
            )
    return [(what, f"{cents(money)} {currency}".strip()) for what, money in lines]


def _begin(dishes: list[dict[str, Any]], fields: Mapping[str, str]) -> str:
    """Return what the form that begins a cook is filled in with."""
    asked = {"guests": fields["guests"], "serve_at": fields["serve_at"]}
    for row, dish in enumerate((one for one in dishes if one["recommended"]), 1):
        asked[f"cut{suffix(row)}"] = dish["cut"]
        asked[f"count{suffix(row)}"] = str(dish["recommended"])
    return urlencode({name: value for name, value in asked.items() if value})
