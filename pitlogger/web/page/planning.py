"""The Plan screen: guests to purchase to schedule to price, on one page."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from pitlogger.cli.plan_answer import Given, answer, answer_text
from pitlogger.cli.price_card import CardGiven, card_document
from pitlogger.cli.schedule_answer import ScheduleGiven, schedule_document
from pitlogger.daemon import Daemon
from pitlogger.errors import PitloggerError, UsageError
from pitlogger.formats.money import cents
from pitlogger.model.cooks import CUTS
from pitlogger.reports.pictures import enough_curve
from pitlogger.web.page.past_record import with_record
from pitlogger.web.page.shown import Shown, percent

FIELDS = {
    "guests": "45", "children": "", "portion": "5 oz", "cut": "brisket-packer", "piece_mass": "",
    "over": "", "risk": "", "profile": "", "price": "", "target": "", "serve_at": "",
    "drive": "", "setup": "", "wrap": "yes",
}  # fmt: skip
SURE = 0.9995  # from here on 100.0 % would be shown, which nothing is
_SHORT = 400  # characters of a field, at most


async def plan_screen(daemon: Daemon, shown: Shown, query: Mapping[str, str]) -> dict[str, Any]:
    """Return the plan that the address asks for; without any, the empty form."""
    fields = {name: query.get(name, "")[:_SHORT] for name in FIELDS}
    if not query.get("guests"):
        fields |= {name: value for name, value in FIELDS.items() if not fields[name]}
        return _shown_plan(fields, "How many come, and what do they get?")
    try:
        given, currency = _given(fields), daemon.config.units.currency
        made = await with_record(daemon, lambda: _answers(given, fields, currency))
    except PitloggerError as fault:
        return {**_shown_plan(fields, "That cannot be planned yet."), "fault": str(fault)}
    return {**_shown_plan(fields, made["line"]), **_told(made, shown)}


def _shown_plan(fields: dict[str, str], sentence: str) -> dict[str, Any]:
    return {
        "sentence": sentence, "fields": fields, "cuts": list(CUTS), "fault": None, "options": [],
        "notes": [], "curve": "", "buy": None, "events": [], "prices": [], "basis": "",
        "schedule_notes": [], "fault_later": None,
    }  # fmt: skip


def _given(fields: Mapping[str, str]) -> Given:
    return Given(
        guests=_whole(fields["guests"], "guests"),
        children=_whole(fields["children"] or "0", "children"),
        portion=fields["portion"] or None,
        cut=fields["cut"] or None,
        piece_mass=fields["piece_mass"] or None,
        over_pct=_number(fields["over"] or "0", "margin"),
        risk_pct=_number(fields["risk"], "risk") if fields["risk"] else None,
        profile=fields["profile"] or None,
    )


def _whole(text: str, name: str) -> int:
    if not text.strip().isdecimal():
        raise UsageError(f"{name}: '{text}' is not a whole number")
    return int(text)


def _number(text: str, name: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise UsageError(f"{name}: '{text}' is not a number") from None


def _answers(given: Given, fields: Mapping[str, str], currency: str) -> dict[str, Any]:
    """Return plan, schedule and price; runs where the record can be asked."""
    document = answer(given)
    text = answer_text(document, given.guests + given.children, given.cut)
    made: dict[str, Any] = {"plan": document, "line": text.partition("\n")[0], "cut": given.cut}
    try:
        if fields["serve_at"] and document["recommended"]:
            made["schedule"] = schedule_document(_schedule(fields, document["recommended"]))
        if fields["price"] and document["purchase_g"]:
            made["price"] = _price(fields, document, currency)
    except PitloggerError as fault:
        made["fault_later"] = str(fault)
    return made


def _schedule(fields: Mapping[str, str], count: int) -> ScheduleGiven:
    return ScheduleGiven(
        serve_at=fields["serve_at"], cut=fields["cut"], count=min(count, 60),
        wrapped=fields["wrap"] != "no", drive_min=_number(fields["drive"] or "0", "drive"),
        setup_min=_number(fields["setup"] or "0", "set-up"),
    )  # fmt: skip


def _price(fields: Mapping[str, str], document: dict[str, Any], currency: str) -> dict[str, Any]:
    """Return the price card of what is bought, with the yield that is expected of it."""
    bought_g = document["purchase_g"]
    served_g = bought_g * document["basis"]["median"]
    target = fields["target"]
    return card_document(
        CardGiven(
            weights=f"purchased={bought_g:.0f}g,carved={served_g:.0f}g", price=fields["price"],
            portion=fields["portion"], currency=currency,
            target_pct=_number(target, "food cost") if target else None,
        )
    )  # fmt: skip


def _told(made: dict[str, Any], shown: Shown) -> dict[str, Any]:
    document = made["plan"]
    basis = document["basis"]
    return {
        "curve": enough_curve(document),
        "options": [_option(one, document["recommended"], shown) for one in document["options"]],
        "buy": _buy(document, made["cut"], shown),
        "basis": (
            f"Servable yield of the next cook {percent(basis['median'])}, 8 in 10 between "
            f"{percent(basis['p10'])} and {percent(basis['p90'])}; own cooks: {basis['n']}."
        ),
        "notes": document["notes"],
        "events": [_event(one) for one in made.get("schedule", {}).get("events", ())],
        "schedule_notes": made.get("schedule", {}).get("notes", []),
        "prices": _prices(made["price"]) if "price" in made else [],
        "fault_later": made.get("fault_later"),
    }


def _option(one: dict[str, Any], best: int | None, shown: Shown) -> dict[str, Any]:
    return {
        "pieces": one["pieces"],
        "chance": percent(one["p_enough"]) if one["p_enough"] < SURE else "> 99.9 %",
        "servable": shown.mass_g(one["expected_g"]),
        "left": shown.mass_g(one["leftover_g"]),
        "best": one["pieces"] == best,
    }


def _buy(document: dict[str, Any], cut: str, shown: Shown) -> dict[str, Any] | None:
    if document["recommended"] is None:
        return None
    return {
        "pieces": document["recommended"],
        "cut": cut,
        "mass": shown.mass_g(document["purchase_g"]),
    }


def _event(one: dict[str, Any]) -> dict[str, str]:
    at = datetime.fromisoformat(one["at"]).astimezone()
    return {
        "iso": at.isoformat(timespec="minutes"),
        "at": (at + timedelta(seconds=30)).strftime("%a %d %b %H:%M"),
        "what": one["what"],
        "pieces": ", ".join(one["pieces"]),
    }


def _prices(card: dict[str, Any]) -> list[tuple[str, str]]:
    """Return the money lines in words."""
    currency = card["currency"]
    lines = [
        ("raw meat", f"{cents(card['card']['cost'])} {currency}"),
        (
            "a pound that can be served",
            f"{cents(card['card']['salable']['cost_per_lb'])} {currency}",
        ),
        ("meat in a portion", f"{cents(card['portion']['cost'])} {currency}"),
    ]
    by_cost = card["prices"].get("by_food_cost")
    if by_cost is not None:
        lines.append(("price of a portion at that food cost", f"{cents(by_cost)} {currency}"))
    return lines
