"""The answers of `pitlogger job` for people."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from pitlogger.cli.ahead.schedule_text import local_time, plan_b_lines
from pitlogger.cli.output import table
from pitlogger.formats.money import per_unit
from pitlogger.model.quantities import show_chance, show_mass


def answer_text(document: dict[str, Any]) -> str:
    """Return a job: what is assumed, what to buy, when, what it costs and earns."""
    people = document["guests"] + document["children"]
    head = f"{document['job'] or 'Job'}: {people} guests"
    chance = (
        f"Nothing runs short with {show_chance(document['p_all_enough'])} "
        f"({document['risk_pct']:g} % risk taken)."
    )
    parts = [head, _buy(document), chance]
    parts += [_by_money(document)] if any(d["by_money"] for d in document["dishes"]) else []
    parts += [_other_ways(document)] if any(d["other_ways"] for d in document["dishes"]) else []
    if document["schedule"] is not None:
        light_by = document["schedule"]["light_by"]
        parts.append(f"Light the fire by {local_time(light_by, document['utc_offset_min'])}.")
        later = plan_b_lines(document["schedule"], document["utc_offset_min"])
        parts.append("\n".join(["Plan B (common practice, no source):", *later]))
    parts += [_bill(document), _earned(document)]
    if document["result"] is not None:
        parts.append(_result(document["result"], document["currency"]))
    if document["assumed"]:
        told = [f"  {one['field']} = {one['value']} ({one['why']})" for one in document["assumed"]]
        parts.append("\n".join(["Assumed, since you did not say:", *told]))
    return "\n\n".join([*parts, *(f"- {note}" for note in document["notes"])])


def _buy(document: dict[str, Any]) -> str:
    rows = [
        [
            dish["name"],
            str(dish["pieces"]),
            show_mass(dish["billed_g"] * 1000),
            str(dish["meat"]),
            show_chance(dish["p_enough"]),
            _per_lb(dish),
        ]
        for dish in document["dishes"]
    ]
    more = [
        f"Order {dish['order_more']} more {dish['name']} on top of what arrived."
        for dish in document["dishes"]
        if 0 < dish["order_more"] < dish["pieces"]
    ]
    more += [on_the_way(dish["name"], dish["now"]) for dish in document["dishes"] if "now" in dish]
    heads = ["buy", "pieces", "raw", "meat", "enough", "served"]
    return "\n".join([table(rows, heads), *more])


def _per_lb(way: dict[str, Any]) -> str:
    """Return what a served pound costs, in the unit that masses stand in here."""
    return f"{per_unit(Decimal(way['cost_per_served_kg']) / 1000, 'lb'):.2f}/lb"


def on_the_way(name: str, now: dict[str, Any]) -> str:
    """Return whether a dish whose cook is open will do, and what helps."""
    told = (
        f"Now {now['pieces']} {name}, as weighed last ({now['weighed_at']}): enough with "
        f"{show_chance(now['p_enough'])}"
    )
    if not now["short_g"]:
        return f"{told}."
    helps = "; ".join(
        f"{one['message']} ({show_chance(one['p_enough'])})" for one in now["remedies"]
    )
    return f"{told}, {show_mass(now['short_g'] * 1000)} served short. What helps: {helps}."


def _by_money(document: dict[str, Any]) -> str:
    return "\n".join(
        f"{dish['name']}: by money {dish['by_money']['pieces']} pieces, "
        f"{dish['by_money']['balances']}"
        for dish in document["dishes"]
        if dish["by_money"]
    )


def _other_ways(document: dict[str, Any]) -> str:
    rows = [
        [
            f"{dish['name']} as {way['cut']}",
            str(way["pieces"]),
            show_mass((way["purchase_g"] or 0) * 1000),
            str(way["meat"]),
            show_chance(way["p_enough"]),
            _per_lb(way),
            f"{way['work_h']:g} h",
        ]
        for dish in document["dishes"]
        for way in ((dish, *dish["other_ways"]) if dish["other_ways"] else ())
    ]
    return table(rows, ["side by side", "pieces", "raw", "meat", "enough", "served", "work"])


def _bill(document: dict[str, Any]) -> str:
    sums, currency = document["bill"], document["currency"]
    parts = [f"subtotal {sums['subtotal']}"]
    parts += [f"{key} {sums[key]}" for key in ("discount", "service", "tax") if sums[key]]
    total = f"Total {sums['total']} {currency}".strip()
    return f"{total} ({', '.join(parts)}); deposit {sums['deposit']}, balance {sums['balance']}."


def _earned(document: dict[str, Any]) -> str:
    made, costs = document["earned"], document["costs"]
    even = made["break_even_guests"]
    return (
        f"Costs {costs['total']}: meat {costs['meat']}, food {costs['food']}, labour "
        f"{costs['labour']}, all else {costs['other'] + costs['disposables'] + costs['fuel']}.\n"
        f"Earned: {made['middle']} (poor yield {made['low']}), food cost "
        f"{made['food_cost_pct']} %, margin {made['margin_pct']} %, markup "
        f"{made['markup_pct']} %, break-even "
        f"{'never' if even is None else even} guests."
    )


def _result(result: dict[str, Any], currency: str) -> str:
    lines = [f"Came to {result['profit']} {currency}".rstrip() + f", planned {result['planned']}:"]
    lines += [f"  {one['amount']:>10}  {one['what']}" for one in result["why"]]
    return "\n".join([*lines, *result["teaches"]])


def changes_text(changes: list[dict[str, str]]) -> str:
    """Return what follows from a change."""
    if not changes:
        return "Nothing follows: every figure is as it was."
    rows = [[one["what"], one["before"], one["after"]] for one in changes]
    return table(rows, ["follows", "before", "now"])


def months_text(document: dict[str, Any]) -> str:
    """Return sales and margin by event, dish and month."""
    events = [[e["job"], e["month"], str(e["sales"]), str(e["profit"]),
               "yes" if e["is_actual"] else "planned"] for e in document["events"]]  # fmt: skip
    months = [[m["month"], str(m["sales"]), str(m["profit"]), f"{m['margin_pct']} %"]
              for m in document["months"]]  # fmt: skip
    dishes = [[d["dish"], str(d["events"]), str(d["sales"]), str(d["meat"])]
              for d in document["dishes"]]  # fmt: skip
    return "\n\n".join([
        table(events, ["event", "month", "sales", "profit", "done"]),
        table(months, ["month", "sales", "profit", "margin"]),
        table(dishes, ["dish", "events", "sales", "meat"]),
    ])  # fmt: skip
