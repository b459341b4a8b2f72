"""`pitlogger plan`: how much raw meat for these guests, and is it enough?"""

from __future__ import annotations

import time
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pitlogger.cli.ahead.history import (
    cook_named,
    cut_option,
    history_option,
    past_cooks,
    record_option,
)
from pitlogger.cli.ahead.options import named_as_options
from pitlogger.cli.output import emit, json_option
from pitlogger.errors import FieldError
from pitlogger.model.cooks import WRAPS
from pitlogger.model.portions import SERVICE_KINDS

if TYPE_CHECKING:
    from pitlogger.planning.plan_question import PlanQuestion


@click.command("plan")
@click.option("--guests", type=int, metavar="N", help="Adults booked.")
@click.option("--cook", metavar="NAME|FILE",
              help="An open cook or a cook file: its guests, hour, pieces.")  # fmt: skip
@click.option("--children", type=int, default=0, metavar="N", help="Children booked besides.")
@click.option("--child-share", "child_share_pct", type=float, default=50.0, metavar="PCT",
              show_default=True, help="A child's portion, % of an adult's.")  # fmt: skip
@click.option("--portion", metavar="AMOUNT", help="5oz, 140 g, '3 bones', '1 quarter'.")
@click.option("--portion-sd", metavar="MASS",
              help="How much portions differ (one sd); 0 for exactly alike.")  # fmt: skip
@click.option("--service", type=click.Choice(SERVICE_KINDS), default="buffet", show_default=True,
              help="Says how much portions differ, where that is not given.")  # fmt: skip
@cut_option
@click.option("--menu", metavar="DISHES", help="Several cuts: brisket-packer:60%,pork-butt:40%.")
@click.option("--piece-mass", metavar="MASS", help="Typical raw mass of a piece to buy.")
@click.option("--piece-sd", metavar="MASS", help="How much such pieces differ (one sd).")
@click.option("--pieces", metavar="MASSES", help="Pieces weighed: 13.2lb,14.8lb, in order.")
@click.option("--weighed-at", metavar="CHECKPOINT", default="purchased", show_default=True,
              help="Where --pieces were weighed; at-wrap re-plans in mid-cook.")  # fmt: skip
@click.option("--leave", metavar="MASS", help="Served meat that is to be left over: 5 lb.")
@click.option("--over", "over_pct", type=float, default=0.0, metavar="PCT", help="Margin on top.")
@click.option("--risk", "risk_pct", type=float, metavar="PCT",
              help="Accepted risk of running short (5; paid 1).")  # fmt: skip
@click.option("--show-rate", "show_rate_pct", type=float, metavar="PCT", help="Who comes (100).")
@click.option("--from-meals", is_flag=True,
              help="Portion and show rate as at your past meals, where not given.")  # fmt: skip
@click.option("--grade", metavar="TEXT", help="Of the meat to buy, if past grades are on record.")
@click.option("--supplier", metavar="TEXT", help="Likewise its supplier.")
@click.option("--wrap", type=click.Choice(WRAPS), help="How it will be wrapped.")
@click.option("--pull-at", metavar="TEMP", help="At what core temperature it comes off: 203F.")
@click.option("--on-pit", metavar="PIT", help="On which pit it will be cooked.")
@click.option("--profile", type=click.Choice(["paid", "party"]),
              help="paid: the guarantee is owed. party: risk and show rate are yours.")  # fmt: skip
@click.option("--light-by", metavar="HH:MM", help="When another piece would have to be lit.")
@click.option("--serve-at", metavar="TIME", help="When it is eaten; says --light-by by itself.")
@click.option("--price", metavar="PRICE", help="Price of the raw meat, 4.29/lb.")
@click.option("--budget", metavar="AMOUNT", help="Money for raw meat; needs --price.")
@history_option
@click.option("--prior", type=click.Choice(["cut", "flat"]), default="cut", show_default=True,
              help="Start from published figures, or from own cooks alone.")  # fmt: skip
@click.option("--seed", type=int, help="Accepted and not needed: nothing is drawn at random.")
@record_option
@json_option
def plan(as_json: bool, history_file: Path | None, **given: Any) -> None:
    """Say how many pieces to buy for GUESTS, and how likely each number is enough.

    The mean yield is shared by all pieces, so its uncertainty does not average out; pieces
    already weighed (--pieces) narrow the answer most.
    """
    from pitlogger.cli.ahead.plan_text import answer_text
    from pitlogger.planning.purchase import plan as answer

    with named_as_options():
        notes = _take_cook(given)
        if given["guests"] is None:
            raise FieldError("guests", "{guests} is missing: how many are booked")
        asked = question(given)
        document = answer(asked, past_cooks(history_file)).document()
    document["notes"] = [*notes, *document["notes"]]
    emit(document, as_json, answer_text(document, asked.guests + asked.children))


def purchase_of_cook(named: str) -> dict[str, Any]:
    """Return the document of ``pitlogger plan --cook NAMED``, as if nothing were bought yet."""
    given = dict(plan.make_context("plan", ["--cook", named]).params)
    for name in ("as_json", "history_file"):
        del given[name]
    given["bought"] = False
    with named_as_options():
        notes = _take_cook(given)
        if given["guests"] is None:
            raise FieldError("guests", f"'{named}' says no guests: plan it with {{guests}}")
        document = answer_of(question(given))
    cook, _ = cook_named(named)
    return document | {"cook": cook.name, "notes": [*notes, *document["notes"]]}


def answer_of(asked: PlanQuestion) -> dict[str, Any]:
    from pitlogger.planning.purchase import plan as answer

    return answer(asked, past_cooks()).document()


def _take_cook(given: dict[str, Any]) -> list[str]:
    """Fill in what a named cook says, where nothing else was typed; return what was assumed."""
    from pitlogger.planning.plan_cook import asked_of_cook
    from pitlogger.rules.policies import shipped_portions

    if (named := given.pop("cook")) is None:
        return []
    if given["menu"] is not None:
        raise FieldError("dishes", "{dishes} is for a meal that is no cook yet: leave one out")
    cook, book = cook_named(named)
    told = asked_of_cook(cook, book, given["cut"])
    bought = given.pop("bought", True)
    if not bought or given["pieces"] is not None or given["piece_mass"] is not None:
        told.pop("pieces", None)
        told.pop("weighed_at", None)
    if given["light_by"] is not None:
        told.pop("serve_at", None)
    for name, text in told.items():
        if given[name] is None or name == "weighed_at":
            given[name] = int(text) if name == "guests" else text
    if given["portion"] is not None or given["from_meals"]:
        return []
    practice = shipped_portions()[given["service"]]
    given["portion"] = f"{practice.usual_g:g} g"
    return [f"The cook says no portion: {practice.usual_g:.0f} g taken ({practice.source})."]


def question(given: dict[str, Any]) -> PlanQuestion:
    """Return the question that the options as typed put.

    Raises:
        FieldError: One cannot be read, or two contradict each other.
    """
    from pitlogger.model.quantities import parse_temperature_mc, show_temperature
    from pitlogger.planning import fields
    from pitlogger.planning.plan_question import PlanQuestion

    cut, menu = given.pop("cut"), given.pop("menu")
    if (cut is None) == (menu is None):
        raise FieldError("cut", "give {cut} for one cut or {dishes} for several, one of the two")
    dishes = (fields.Dish(fields.known_cut(cut)),) if cut else fields.menu(menu)
    del given["seed"]  # nothing is drawn at random
    pull_at = given.pop("pull_at")
    shown = pull_at and show_temperature(fields.read("pull_at", parse_temperature_mc, pull_at))
    told = {"pull_at": shown, "pit": given.pop("on_pit")}
    told |= {name: given.pop(name) for name in ("grade", "supplier", "wrap")}
    masses: dict[str, Any] = {
        f"{name}_g": fields.grams(text, f"{name}_g", zero=name.endswith("sd"))
        for name in ("portion_sd", "piece_mass", "piece_sd")
        if (text := given.pop(name)) is not None
    }
    if (leave := given.pop("leave")) is not None:
        masses["leave_g"] = fields.grams(leave, "leave_g", zero=True)
    portion, pieces = given.pop("portion"), given.pop("pieces")
    price, budget = given.pop("price"), given.pop("budget")
    return PlanQuestion(
        dishes=dishes,
        portion=fields.portion(portion) if portion else None,
        pieces_g=() if pieces is None else fields.pieces_g(pieces),
        price_per_g=fields.price(price, "price_per_g") if price else None,
        budget=fields.money(budget, "budget") if budget else None,
        paid=given.pop("profile") == "paid",
        factors={factor: value for factor, value in told.items() if value},
        light_by=_light_by(given.pop("serve_at"), given.pop("light_by"), dishes[0].cut),
        **masses,
        **given,
    )


def _light_by(serve_at: str | None, light_by: str | None, cut: str) -> str | None:
    """Return when one more piece has to be lit, local time; ``None`` if that is past."""
    if serve_at is None:
        return light_by or ""
    if light_by is not None:
        reason = "{serve_at} says {light_by} by itself: leave one of the two out"
        raise FieldError("serve_at", reason)
    from pitlogger.planning.fields import moment_ms
    from pitlogger.rules.policies import shipped_kitchen
    from pitlogger.yields.timing.schedule import latest_fire_ms

    at_ms = moment_ms(serve_at, "serve_at")
    lit_ms = latest_fire_ms(cut, at_ms, shipped_kitchen())
    if lit_ms <= time.time() * 1000:
        return None
    at, lit = (datetime.fromtimestamp(ms / 1000).astimezone() for ms in (at_ms, lit_ms))
    return lit.strftime("%H:%M" if lit.date() == at.date() else "%a %H:%M")
