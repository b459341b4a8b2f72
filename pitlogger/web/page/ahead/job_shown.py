"""What a job comes to, in words and rows for the page."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

from pitlogger.formats.money import per_unit, rounded
from pitlogger.model.cooks import together
from pitlogger.planning.job.answer import JobAnswer, JobDish, OnTheWay, OtherWay
from pitlogger.views import words
from pitlogger.views.entries import both
from pitlogger.views.language import date, day, tr
from pitlogger.views.shown import Shown, chance
from pitlogger.web.page.ahead.job_fields import label_of

Rows = list[tuple[str, str]]


def shown_job(answer: JobAnswer, shown: Shown) -> dict[str, Any]:
    """Return an answer as the page shows it: sentence, purchase, times, money, result."""
    return {
        "sentence": _sentence(answer, shown),
        "buy": [_dish(dish, answer, shown) for dish in answer.dishes],
        "times": _times(answer),
        "plan_b": [
            (
                f"{day(at := _local(one.at, answer))} {at:%H:%M}",
                one.unless,
                one.then,
                together(one.pieces),
            )
            for one in (answer.schedule.plan_b if answer.schedule else ())
        ],
        "bill": list(_bill(answer)),
        "costs": list(_costs(answer)),
        "earned": list(_earned(answer)),
        "result": _result(answer, shown),
        "assumed": [
            {"what": _named(one.field), "value": one.value, "why": one.why}
            for one in answer.assumed
        ],
        "notes": [note for note in answer.notes if "--" not in note],
    }


def _named(path: str) -> str:
    table, _, rest = path.partition(".")
    if table != "meat":
        return tr(label_of(path))
    cut, _, key = rest.rpartition(".")
    return f"{cut}: {tr(label_of(f'meat.0.{key}'))}"


def _money(amount: Decimal, answer: JobAnswer) -> str:
    return f"{amount:,} {answer.currency}".rstrip()


def _sentence(answer: JobAnswer, shown: Shown) -> str:
    bought = [f"{dish.pieces} {dish.name}" for dish in answer.dishes]
    return tr(
        "{n} guests: buy {names}, {mass} raw. Nothing runs short with {chance}. "
        "Total {total}, about {profit} of it earned.",
        n=answer.guests + answer.children,
        names=both(bought),
        mass=shown.mass_g(sum(dish.billed_g for dish in answer.dishes)),
        chance=chance(answer.p_all_enough),
        total=_money(answer.bill.total, answer),
        profit=_money(answer.earned.middle, answer),
    )


def _dish(dish: JobDish, answer: JobAnswer, shown: Shown) -> dict[str, Any]:
    unit = "lb" if shown.mass_scale()[0] == "lb" else "kg"
    near = [o for o in dish.options if abs(o.pieces - dish.pieces) <= 3]
    by_pieces = {one.pieces: one for one in dish.by_money.curve} if dish.by_money else {}
    sides: tuple[JobDish | OtherWay, ...] = (dish, *dish.other_ways) if dish.other_ways else ()
    return {
        "name": dish.name,
        "pieces": dish.pieces,
        "order_more": dish.order_more,
        "raw": shown.mass_g(dish.billed_g),
        "meat": _money(dish.meat, answer),
        "now": None if dish.now is None else _now(dish.now, shown),
        "by_money": dish.by_money,
        "options": [
            {
                "pieces": one.pieces,
                "chance": chance(one.p_enough),
                "left": shown.mass_g(one.leftover_g),
                "total": by_pieces[one.pieces].total if one.pieces in by_pieces else "",
                "best": one.pieces == dish.pieces,
            }
            for one in near
        ],
        "others": [
            {
                "cut": one.cut,
                "pieces": one.pieces,
                "raw": shown.mass_g(one.purchase_g),
                "meat": _money(one.meat, answer),
                "chance": chance(one.p_enough),
                "served": f"{_per_unit(one.cost_per_served_kg, unit, answer)}/{unit}",
                "work": f"{one.work_h:g} h",
            }
            for one in sides
            if one.meat is not None and one.cost_per_served_kg is not None
        ],
    }


def _per_unit(per_kg: Decimal, unit: str, answer: JobAnswer) -> Decimal:
    return rounded(per_unit(per_kg / 1000, unit), answer.currency)


def _now(now: OnTheWay, shown: Shown) -> dict[str, Any]:
    """Return whether the pieces of an open cook will do, and what helps if not."""
    return {
        "pieces": now.pieces,
        "at": words.checkpoint(now.weighed_at),
        "chance": chance(now.p_enough),
        "short": shown.mass_g(now.short_g) if now.short_g else "",
        "helps": [(one.message, chance(one.p_enough)) for one in now.remedies],
    }


def _times(answer: JobAnswer) -> list[dict[str, Any]]:
    if answer.schedule is None:
        return []
    return [
        {"iso": at.isoformat(timespec="minutes"), "at": f"{date(at)} {at:%H:%M}",
         "what": event.what, "pieces": [together(event.pieces)]}
        for event in answer.schedule.events
        for at in (_local(event.at, answer),)
    ]  # fmt: skip


def _local(at: datetime, answer: JobAnswer) -> datetime:
    """Return a time to the minute, at the offset that the job's times are written with."""
    offset = answer.utc_offset_min
    zone = None if offset is None else timezone(timedelta(minutes=offset))
    return (at + timedelta(seconds=30)).astimezone(zone)


def _bill(answer: JobAnswer) -> Iterator[tuple[str, str]]:
    sums = answer.bill
    for line in sums.lines:
        yield f"{line.count.normalize():f} {line.what}", _money(line.amount, answer)
    for label, amount in (
        (tr("Discount"), -sums.discount), (tr("Service charge"), sums.service),
        (tr("Tax"), sums.tax),
    ):  # fmt: skip
        if amount:
            yield label, _money(amount, answer)
    yield tr("Total"), _money(sums.total, answer)
    if sums.gratuity_proposed:
        yield tr("Gratuity, if they wish"), _money(sums.gratuity_proposed, answer)
    if sums.deposit:
        yield tr("Deposit"), _money(sums.deposit, answer)
    yield tr("Paid"), _money(sums.paid, answer)
    yield tr("Balance due"), _money(sums.balance, answer)


def _costs(answer: JobAnswer) -> Iterator[tuple[str, str]]:
    costs = answer.costs
    for label, amount in (
        (tr("Meat"), costs.meat), (tr("Other food"), costs.food),
        (tr("Plates and the like"), costs.disposables), (tr("Hire, permit, all else"), costs.other),
        (tr("Labour"), costs.labour), (tr("Wood"), costs.fuel), (tr("Card fee"), costs.card_fee),
        (tr("Sold or kept"), -costs.credits),
    ):  # fmt: skip
        if amount:
            yield label, _money(amount, answer)
    yield tr("All costs"), _money(costs.total, answer)


def _earned(answer: JobAnswer) -> Iterator[tuple[str, str]]:
    made = answer.earned
    yield tr("Earned, poor yield"), _money(made.low, answer)
    yield tr("Earned, middle yield"), _money(made.middle, answer)
    yield tr("Earned, good yield"), _money(made.high, answer)
    for label, share in (
        (tr("Food cost, of the food's price"), made.food_cost_pct),
        (tr("Margin, of income"), made.margin_pct), (tr("Markup, on cost"), made.markup_pct),
    ):  # fmt: skip
        if share is not None:
            yield label, f"{share} %"
    if made.break_even_guests:
        yield tr("Guests that cover the costs"), str(made.break_even_guests)


def _result(answer: JobAnswer, shown: Shown) -> dict[str, Any] | None:
    made = answer.result
    if made is None:
        return None
    head = tr("Earned {money}, planned {planned}.", money=_money(made.profit, answer),
              planned=_money(made.planned, answer))  # fmt: skip
    if made.profit < 0:
        head = tr("Lost {money}, planned {planned}.", money=_money(-made.profit, answer),
                  planned=_money(made.planned, answer))  # fmt: skip
    return {
        "head": head,
        "why": [(one.what, _money(one.amount, answer)) for one in made.why],
        "teaches": made.teaches,
    }
