"""The Plan screen: guests to purchase to schedule to price, of one cut or a menu, on one page."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from pitlogger.errors import FieldError, PitloggerError, UsageError
from pitlogger.model.cooks import CUTS, Service
from pitlogger.model.kitchen import KitchenTimes
from pitlogger.planning.card import CardAnswer, CardQuestion, price_card
from pitlogger.planning.document import as_document
from pitlogger.planning.fields import moment_ms, price
from pitlogger.planning.past import PastCooks
from pitlogger.planning.plan_answer import DishPlan
from pitlogger.planning.purchase import plan
from pitlogger.planning.timeline import MOST_PIECES, ScheduleQuestion, one_cut, schedule
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.web.page.ahead.plan_fields import (
    at_fault,
    fields_of,
    named_as_labels,
    number,
    question,
    rows,
    suffix,
    wanted,
)
from pitlogger.web.page.ahead.plan_shown import shown_answers
from pitlogger.web.page.plain_words import shortened
from pitlogger.web.page.records.past_record import from_record
from pitlogger.web.page.typed import decimal_point
from pitlogger.yields.timing.ical import CalendarMoment, calendar


async def plan_screen(daemon: Node, shown: Shown, query: Mapping[str, str]) -> dict[str, Any]:
    """Return the plan that the address asks for; without any, the empty form."""
    fields = fields_of(query)
    common: dict[str, Any] = {
        "fields": fields, "cuts": list(CUTS), "fault": None, "dishes": [], "notes": [],
        "events": [], "prices": [], "schedule_notes": [], "fault_later": None, "begin": "",
        "asked": "", "at_fault": "", "rows": [(row, suffix(row)) for row in rows()],
    }  # fmt: skip
    if not query.get("guests"):
        return {**common, "sentence": tr("How many come, and what do they get?")}
    currency, kitchen = daemon.config.units.currency, daemon.engine.policy.kitchen
    try:
        made = await from_record(daemon, lambda past: _answers(fields, currency, kitchen, past))
    except FieldError as fault:
        told = {"fault": named_as_labels(fault), "at_fault": at_fault(fault, fields)}
        return {**common, "sentence": tr("That cannot be planned yet."), **told}
    except PitloggerError as fault:
        told = {"fault": shortened(str(fault))}
        return {**common, "sentence": tr("That cannot be planned yet."), **told}
    asked = urlencode({name: value for name, value in fields.items() if value})
    return {**common, "asked": asked, **shown_answers(made, fields, shown)}


def calendar_of(events: list[dict[str, Any]], name: str, stamp_ms: int) -> str:
    """Return what is to be done when as an iCalendar file (RFC 5545)."""
    moments = [
        CalendarMoment(
            round(datetime.fromisoformat(one["iso"]).timestamp() * 1000), one["what"],
            ", ".join(one["pieces"]),
        )
        for one in events
    ]  # fmt: skip
    return calendar(moments, name, stamp_ms)


async def plan_document(daemon: Node, query: Mapping[str, str]) -> list[dict[str, Any]]:
    """Return the plan of each cut that an address asks for, as ``pitlogger plan`` gives it.

    Raises:
        UsageError: It cannot be planned.
    """
    fields = fields_of(query)
    try:
        answer = await from_record(daemon, lambda past: plan(question(fields), past))
    except FieldError as fault:
        raise UsageError(named_as_labels(fault)) from None
    dishes: list[dict[str, Any]] = as_document(answer.dishes)
    return dishes


def _answers(
    fields: Mapping[str, str], currency: str, kitchen: KitchenTimes, past: PastCooks
) -> dict[str, Any]:
    """Return plan, schedule and price."""
    answer = plan(question(fields), past)
    made: dict[str, Any] = {
        "dishes": as_document(answer.dishes), "notes": answer.notes, "currency": currency
    }  # fmt: skip
    try:
        if fields["serve_at"]:
            made["schedules"] = [
                schedule(_schedule(fields, dish.cut, dish.recommended, kitchen), past).document()
                for dish in answer.dishes
                if dish.recommended
            ]
        prices = {one.cut: one.price for one in wanted(fields) if one.price}
        made["cards"] = [
            (dish.cut, _card(dish, prices[dish.cut], currency).document()["card"])
            for dish in answer.dishes
            if dish.cut in prices and dish.purchase_g
        ]
        made["target"] = _target(fields["target"])
    except FieldError as fault:
        made |= {"fault_later": named_as_labels(fault), "at_fault": at_fault(fault, fields)}
    return made


def _schedule(
    fields: Mapping[str, str], cut: str, count: int, kitchen: KitchenTimes
) -> ScheduleQuestion:
    service = Service(
        moment_ms(fields["serve_at"], "serve_at"),
        drive_min=number(fields["drive"] or "0", "drive_min"),
        setup_min=number(fields["setup"] or "0", "setup_min"),
    )
    wrapped = fields["wrap"] != "no"
    cook = one_cut(cut, min(count, MOST_PIECES), service, wrapped=wrapped)
    return ScheduleQuestion(cook, kitchen=kitchen)


def _card(dish: DishPlan, text: str, currency: str) -> CardAnswer:
    """Return the price card of what is bought, with the yield that is expected of it."""
    bought_g = dish.purchase_g or 0.0
    masses_g = {"purchased": bought_g, "carved": bought_g * dish.basis.median}
    return price_card(
        CardQuestion(
            {name: Decimal(round(mass_g)) for name, mass_g in masses_g.items()},
            price(decimal_point(text), "price_per_g"),
            currency=currency,
        )
    )


def _target(text: str) -> Decimal | None:
    """Return the wanted food cost as a share of the price."""
    if not text:
        return None
    share = Decimal(str(number(text, "target_pct"))) / 100
    if not 0 < share <= 1:
        raise FieldError("target_pct", f"{text} % is not above 0 and at most 100")
    return share
