"""What a job comes to, reckoned by another hand: exact fractions, no code of the product.

What chance decides (pieces, expected masses, hours of fire) is taken from the product's answer;
every sum that follows from it is reckoned here and held against what was printed.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction as F
from typing import Any

Told = tuple[str, Any, Any]  # what, expected, printed

GRAMS = {"lb": F("453.59237"), "kg": F(1000)}
PLACES = {"JPY": 0, "KWD": 3}


def coin(value: F, currency: str) -> F:
    """Round half away from zero to the smallest unit."""
    unit = F(1, 10 ** PLACES.get(currency, 2))
    whole, rest = divmod(abs(value), unit)
    up = whole * unit + (unit if rest * 2 >= unit else 0)
    return up if value >= 0 else -up


def per_kg(text: str) -> F:
    money, unit = text.split("/")
    assert unit == "kg"
    return F(money)


def kg(text: str) -> F:
    number, unit = text.split()
    assert unit == "kg"
    return F(number)


def bill_of(job: dict[str, Any]) -> dict[str, Any]:
    """Return what the client pays."""
    head, currency = job["job"], job["job"]["currency"]
    expected = head["guests"] + head["children"]
    guests = head.get("guarantee", expected)
    if "actual" in job:
        guests = max(guests, job["actual"]["guests"])
    lines: list[tuple[F, bool]] = []
    if job["tier"]:
        lines = [(coin(t["guests"] * F(t["price"]), currency), True) for t in job["tier"]]
        further = guests - sum(t["guests"] for t in job["tier"])
        if further > 0:
            dearest = max(F(t["price"]) for t in job["tier"])
            lines.append((coin(further * dearest, currency), True))
    else:
        lines = [(coin(guests * F(head["price_per_guest"]), currency), True)]
    food = sum(amount for amount, _ in lines)
    lines += [(coin(F(c["count"]) * F(c["price"]), currency), c["taxable"]) for c in job["charge"]]
    sold = [
        (coin(kg(b["mass"]) * per_kg(b["price"]), currency), b["taxable"]) for b in job["by_weight"]
    ]
    lines += sold
    listed = sum((amount for amount, _ in lines), F(0))
    subtotal = max(listed, coin(F(head["minimum_order"]), currency))
    discount = coin(F(head["discount"]) + subtotal * F(head["discount_pct"]) / 100, currency)
    discount = min(discount, subtotal)
    net = subtotal - discount
    left = net / subtotal if subtotal else F(1)
    service = coin(net * F(head["service_pct"]) / 100, currency)
    free = sum((amount for amount, taxed in lines if not taxed), F(0))
    taxable = coin((subtotal - free) * left + (service if head["service_taxable"] else 0), currency)
    rate = F(0) if head.get("tax_exemption") else F(head["tax_pct"]) / 100
    if head["tax_rounding"] == "total":
        tax = coin(taxable * rate, currency)
    else:
        bases = [amount * left for amount, taxed in lines if taxed] + [(subtotal - listed) * left]
        bases += [service] if head["service_taxable"] else []
        tax = sum((coin(base * rate, currency) for base in bases), F(0))
    total = net + service + tax
    paid = coin(sum((F(p["amount"]) for p in job["payment"]), F(0)), currency)
    return {
        "guests": guests, "lines": [amount for amount, _ in lines], "subtotal": subtotal,
        "discount": discount, "service": service, "taxable": taxable, "tax": tax, "total": total,
        "gratuity_proposed": coin(net * F(head["gratuity_pct"]) / 100, currency),
        "deposit": coin(total * F(head["deposit_pct"]) / 100, currency), "paid": paid,
        "balance": total - paid,
        "food": (food + sum(a for a, _ in sold) + subtotal - listed) * left,
    }  # fmt: skip


def meat_of(meat: dict[str, Any], dish: dict[str, Any], currency: str) -> Iterator[Told]:
    """Yield mass and money of a dish as bought: cases, rounding up, price breaks."""
    gram, cut = GRAMS[meat["unit"]], meat["cut"]
    pieces = dish["pieces"]
    if pieces % meat.get("case_pieces", 1):
        yield f"{cut}: whole cases", 0, pieces
    if "case_mass" in meat:
        mass = F(pieces, meat["case_pieces"]) * meat["case_mass"]
    elif "piece" in meat:
        mass = pieces * F(sum(meat["piece"]), 2)
    else:
        mass = F(str(dish["purchase_g"])) / gram
        if abs(mass - round(mass)) * gram < 1:
            mass = F(round(mass))
    # Written masses are kept to the milligram, so a purchase is known to a gram.
    yield f"{cut}: raw, g", float(mass * gram), _near(mass * gram, dish["purchase_g"], 1)
    billed = mass
    if step := meat.get("round_to"):
        billed = F(-(-mass // step)) * step
    billed = max(billed, F(meat.get("at_least", 0)))
    yield f"{cut}: billed, g", float(billed * gram), _near(billed * gram, dish["billed_g"], 1)
    price = F(meat["price"])
    for least, cheaper in meat.get("breaks", ()):
        if billed >= least:
            price = F(cheaper)
    money = billed * price
    unit = F(1, 10 ** PLACES.get(currency, 2))
    yield f"{cut}: money", float(money), _near(money, dish["meat"], unit)
    served = money / F(str(dish["expected_g"])) * 1000
    yield (
        f"{cut}: cost of a served kg",
        float(served),
        _near(served, dish["cost_per_served_kg"], unit),
    )


def _near(expected: F, printed: Any, within: F | int) -> float:
    """Return the expected value where the printed one lies near enough, else the printed one."""
    return float(expected) if abs(F(str(printed)) - expected) <= within else float(printed)


def judge(job: dict[str, Any], answer: dict[str, Any]) -> list[Told]:
    """Return what differs: name, expected, printed."""
    return [told for told in _told(job, answer) if told[1] != told[2]]


def _told(job: dict[str, Any], answer: dict[str, Any]) -> Iterator[Told]:
    head, currency = job["job"], job["job"]["currency"]
    bill = bill_of(job)
    shown = answer["bill"]
    for key in ("guests", "subtotal", "discount", "service", "taxable", "tax", "total",
                "gratuity_proposed", "deposit", "paid", "balance"):  # fmt: skip
        yield f"bill {key}", bill[key], F(str(shown[key]))
    yield "bill lines", bill["lines"], [F(str(line["amount"])) for line in shown["lines"]]
    for meat, dish in zip(job["meat"], answer["dishes"], strict=True):
        yield from meat_of(meat, dish, currency)
    costs = {key: F(str(value)) for key, value in answer["costs"].items()}
    people = head["guests"] + head["children"]

    def round_(value: F) -> F:
        return coin(value, currency)

    def per_guest(kind: str) -> F:
        return round_(
            people * sum((F(o["cost"]) for o in job["per_guest"] if o["kind"] == kind), F(0))
        )

    labour = F(0)
    for one in job["labour"]:
        labour += F(one["hours"]) * F(one["rate"]) * (1 + F(one["burden_pct"]) / 100)
    fixed = sum((F(o["cost"]) for o in job["fixed"]), F(0))
    other = people * sum((F(o["cost"]) for o in job["per_guest"] if o["kind"] == "other"), F(0))
    yield "meat", sum(F(str(d["meat"])) for d in answer["dishes"]), costs["meat"]
    yield "food", per_guest("food"), costs["food"]
    yield "disposables", per_guest("disposables"), costs["disposables"]
    yield "other", round_(round_(other) + fixed), costs["other"]
    yield "labour", round_(labour), costs["labour"]
    yield "hours", sum((F(o["hours"]) for o in job["labour"]), F(0)), costs["labour_hours"]
    yield "fuel", round_(_fuel(job, answer)), costs["fuel"]
    yield "card fee", round_(bill["total"] * F(head["card_fee_pct"]) / 100), costs["card_fee"]
    credited = sum((kg(c["mass"]) * per_kg(c["price"]) for c in job["credit"]
                    if not c["is_leftover"] or c["cooling_met"]), F(0))  # fmt: skip
    yield "credits", round_(credited), costs["credits"]
    spent = sum(
        costs[key] for key in ("meat", "food", "disposables", "other", "labour", "fuel", "card_fee")
    )
    yield "cost", spent - costs["credits"], costs["total"]
    yield from _earned(job, answer, bill, costs)
    yield from _result(job, answer, bill, costs)


def _fuel(job: dict[str, Any], answer: dict[str, Any]) -> F:
    from datetime import datetime

    fuel = job.get("fuel")
    if fuel is None:
        return F(0)
    if "mass" in fuel:
        return kg(fuel["mass"]) * per_kg(fuel["price"])
    schedule = answer["schedule"]
    off = max(datetime.fromisoformat(one["off_by"]) for one in schedule["pieces"])
    lit = datetime.fromisoformat(schedule["light_by"])
    return (
        kg(fuel["mass_per_h"]) * F(round((off - lit).total_seconds()), 3600) * per_kg(fuel["price"])
    )


def _pct(part: F, whole: F) -> F | None:
    return F(round(part / whole * 100, 2)) if whole else None


def _earned(
    job: dict[str, Any], answer: dict[str, Any], bill: dict[str, Any], costs: dict[str, F]
) -> Iterator[Told]:
    made, currency = answer["earned"], job["job"]["currency"]
    income = bill["total"] - bill["tax"]
    profit = income - costs["total"]
    yield "income", income, F(str(made["income"]))
    yield "profit", profit, F(str(made["middle"]))
    for level, key in (("low", "low_g"), ("high", "high_g")):
        short = F(0)
        for dish in answer["dishes"]:
            missing = max(F(0), F(str(dish["demand_g"])) - F(str(dish[key])))
            bought_in = job.get("shortage", {}).get("bought_in")
            price = per_kg(bought_in) if bought_in else F(str(dish["cost_per_served_kg"]))
            short += missing / 1000 * price
        yield f"profit, {level} yield", profit - coin(short, currency), F(str(made[level]))
    food = costs["meat"] + costs["food"]

    def shown(key: str) -> F | None:
        return None if made[key] is None else F(str(made[key]))

    yield "food cost %", _pct(food, bill["food"]), shown("food_cost_pct")
    yield "prime cost %", _pct(food + costs["labour"], bill["food"]), shown("prime_cost_pct")
    yield "margin %", _pct(profit, income), shown("margin_pct")
    yield "markup %", _pct(profit, costs["total"]), shown("markup_pct")
    if made["break_even_guests"] is not None:
        people = job["job"]["guests"] + job["job"]["children"]
        each = (income - food - costs["disposables"] - costs["card_fee"]) / people
        fixed = costs["labour"] + costs["fuel"] + costs["other"]
        n = made["break_even_guests"]
        yield "break-even covers", True, n * each >= fixed
        yield "break-even is the fewest", True, n == 0 or (n - 1) * each < fixed


def _result(
    job: dict[str, Any], answer: dict[str, Any], bill: dict[str, Any], costs: dict[str, F]
) -> Iterator[Told]:
    actual, made, currency = job.get("actual"), answer["result"], job["job"]["currency"]
    if actual is None:
        yield "no result before the event", None, made
        return
    income = F(actual["income"]) if "income" in actual else bill["total"] - bill["tax"]
    meat, other = coin(F(actual["meat_cost"]), currency), coin(F(actual["other_cost"]), currency)
    spent = meat + other + costs["labour"]
    profit = coin(income, currency) - spent
    yield "result income", coin(income, currency), F(str(made["income"]))
    yield "result spent", spent, F(str(made["spent"]))
    yield "result profit", profit, F(str(made["profit"]))
    parts = sum(
        (F(str(w["amount"])) for w in made["why"] if not w["what"].startswith("of which")), F(0)
    )
    yield "why adds up", profit - F(str(made["planned"])), parts
    if "served" in actual and actual["guests"]:
        eaten = (kg(actual["served"]) - kg(actual["left"])) * 1000 / actual["guests"]
        yield "eaten of a guest", float(round(eaten, 1)), made["eaten_per_guest_g"]
