"""The Plan screen: guests to purchase to schedule to price, of one cut or a menu, on one page."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from pitlogger.cli.ahead.price_card import CardGiven, card_document
from pitlogger.cli.ahead.schedule_answer import ScheduleGiven, schedule_document
from pitlogger.errors import PitloggerError, UsageError
from pitlogger.model.cooks import CUTS
from pitlogger.node.daemon import Daemon
from pitlogger.views.shown import Shown
from pitlogger.web.page.past_record import with_record
from pitlogger.web.page.plan_fields import (
    fields_of,
    given,
    number,
    rows,
    suffix,
    wanted,
)
from pitlogger.web.page.plan_shown import shown_answers

MOST_SCHEDULED = 60  # pieces of one cut


async def plan_screen(daemon: Daemon, shown: Shown, query: Mapping[str, str]) -> dict[str, Any]:
    """Return the plan that the address asks for; without any, the empty form."""
    fields = fields_of(query)
    common: dict[str, Any] = {
        "fields": fields, "cuts": list(CUTS), "fault": None, "dishes": [], "notes": [],
        "events": [], "prices": [], "schedule_notes": [], "fault_later": None, "begin": "",
        "asked": "", "rows": [(row, suffix(row)) for row in rows()],
    }  # fmt: skip
    if not query.get("guests"):
        return {**common, "sentence": "How many come, and what do they get?"}
    currency = daemon.config.units.currency
    try:
        made = await with_record(daemon, lambda: _answers(fields, currency))
    except PitloggerError as fault:
        return {**common, "sentence": "That cannot be planned yet.", "fault": str(fault)}
    asked = urlencode({name: value for name, value in fields.items() if value})
    return {**common, "asked": asked, **shown_answers(made, fields, shown)}


async def plan_document(daemon: Daemon, query: Mapping[str, str]) -> list[dict[str, Any]]:
    """Return the plan of each cut that an address asks for, as ``pitlogger plan`` gives it.

    Raises:
        UsageError: It cannot be planned.
    """
    fields = fields_of(query)
    return await with_record(daemon, lambda: _dishes(fields)[0])


def _dishes(fields: Mapping[str, str]) -> tuple[list[dict[str, Any]], list[str]]:
    """Return a plan for each cut, and the notes that belong to all of them."""
    from pitlogger.cli.ahead.plan_answer import answer

    asked = given(fields)
    document = answer(asked)
    if "dishes" in document:
        return document["dishes"], document["notes"]
    return [{"cut": asked.cut, **document}], []


def _answers(fields: Mapping[str, str], currency: str) -> dict[str, Any]:
    """Return plan, schedule and price; runs where the record can be asked."""
    dishes, notes = _dishes(fields)
    made: dict[str, Any] = {"dishes": dishes, "notes": notes, "currency": currency}
    try:
        if fields["serve_at"]:
            made["schedules"] = [
                schedule_document(_schedule(fields, dish["cut"], dish["recommended"]))
                for dish in dishes
                if dish["recommended"]
            ]
        prices = {one.cut: one.price for one in wanted(fields) if one.price}
        made["cards"] = [
            (dish["cut"], _card(dish, prices[dish["cut"]], currency))
            for dish in dishes
            if dish["cut"] in prices and dish["purchase_g"]
        ]
        made["target"] = _target(fields["target"])
    except PitloggerError as fault:
        made["fault_later"] = str(fault)
    return made


def _schedule(fields: Mapping[str, str], cut: str, count: int) -> ScheduleGiven:
    return ScheduleGiven(
        serve_at=fields["serve_at"], cut=cut, count=min(count, MOST_SCHEDULED),
        wrapped=fields["wrap"] != "no", drive_min=number(fields["drive"] or "0", "drive"),
        setup_min=number(fields["setup"] or "0", "set-up"),
    )  # fmt: skip


def _card(dish: dict[str, Any], price: str, currency: str) -> dict[str, Any]:
    """Return the price card of what is bought, with the yield that is expected of it."""
    bought_g = dish["purchase_g"]
    served_g = bought_g * dish["basis"]["median"]
    weights = f"purchased={bought_g:.0f}g,carved={served_g:.0f}g"
    return card_document(CardGiven(weights=weights, price=price, currency=currency))["card"]  # type: ignore[no-any-return]


def _target(text: str) -> Decimal | None:
    """Return the wanted food cost as a share of the price."""
    if not text:
        return None
    share = Decimal(str(number(text, "food cost"))) / 100
    if not 0 < share <= 1:
        raise UsageError(f"food cost: {text} % is not above 0 and at most 100")
    return share
