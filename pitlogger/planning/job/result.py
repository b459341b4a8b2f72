"""After the event: earned or lost, why, and what it teaches."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

from pitlogger.formats.job_file import ActualTable, JobFile
from pitlogger.model.quantities import show_mass, show_share
from pitlogger.planning.job.answer import Costs, Earned, Result, Why
from pitlogger.planning.job.purchase import Purchase
from pitlogger.planning.past import PastCooks
from pitlogger.yields.ledger import servable
from pitlogger.yields.money.bill import BillShown

Coin = Callable[[Decimal], Decimal]


def result(
    source: JobFile,
    bought: Purchase,
    made: BillShown,
    costs: Costs,
    earned: Earned,
    past: PastCooks,
    coin: Coin,
) -> Result | None:
    """Return the result against the plan, ``None`` before the event.

    What was bought and served comes from the cooks on record that ``job.cook`` and ``job.cooks``
    name, by name or id, else from the job file; so does what was left.
    """
    actual = source.actual
    if actual is None:
        return None
    raw_g, served_g = _weighed(source, past)
    if actual.served is not None:
        served_g = actual.served / 1000
    income = made.income if actual.income is None else coin(actual.income)
    spent = coin(actual.meat_cost) + coin(actual.other_cost) + costs.labour
    left_g = _left_g(source, past) if actual.left is None else actual.left / 1000
    eaten_g = None
    if served_g is not None and left_g is not None and actual.guests:
        eaten_g = (served_g - left_g) / actual.guests
    why = _why(bought, costs, earned, actual, income, raw_g, coin)
    why += _of_meat(bought, actual, raw_g, served_g, left_g, eaten_g, coin)
    return Result(
        actual.guests,
        income,
        spent,
        income - spent,
        earned.middle,
        tuple(why),
        None if eaten_g is None else round(eaten_g, 1),
        None if not raw_g or served_g is None else round(100 * served_g / raw_g, 2),
        left_g,
        tuple(_teaches(eaten_g, raw_g, served_g, is_told=actual.left is None)),
    )


def cooks_of(source: JobFile, past: PastCooks) -> set[str]:
    """Return what the cooks of a job are known as."""
    named = {source.job.cook, *source.job.cooks} - {""}
    return {past.names.get(one, one) for one in named}


def _left_g(source: JobFile, past: PastCooks) -> float | None:
    """Return what was left of the meals of the job's cooks, ``None`` where nobody entered it."""
    cooks = cooks_of(source, past)
    told = {one.cook: one.left_g for one in past.pieces
            if one.cook in cooks and one.left_g is not None}  # fmt: skip
    return sum(told.values()) if told else None


def _weighed(source: JobFile, past: PastCooks) -> tuple[float | None, float | None]:
    """Return raw and servable mass of the job's cooks, ``None`` where not all is weighed."""
    cooks = cooks_of(source, past)
    whole = [one for one in past.whole if one.record.cook in cooks]
    raw = [one.record.masses.get("purchased") for one in whole]
    served = [servable(one.record, one.seam) for one in whole]
    return (
        sum(mass.value for mass in raw if mass) if whole and all(raw) else None,
        sum(mass.value for mass in served if mass) if whole and all(served) else None,
    )


def _why(
    bought: Purchase,
    costs: Costs,
    earned: Earned,
    actual: ActualTable,
    income: Decimal,
    raw_g: float | None,
    coin: Coin,
) -> list[Why]:
    """Return the parts of the difference; they add up to it exactly."""
    planned_g = Decimal(repr(sum(dish.billed_g for dish in bought.dishes)))
    planned_price = costs.meat / planned_g
    parts = [Why("guests and price: income", income - earned.income)]
    if raw_g is None:
        parts.append(Why("meat bought: price and quantity", costs.meat - coin(actual.meat_cost)))
    else:
        raw = Decimal(repr(raw_g))
        quantity = coin((planned_g - raw) * planned_price)
        parts.append(Why("quantity of meat", quantity))
        price = costs.meat - coin(actual.meat_cost) - quantity
        parts.append(Why("price of meat", price))
    planned_rest = costs.total - costs.meat - costs.labour
    parts.append(Why("all else", planned_rest - coin(actual.other_cost)))
    return parts


def _of_meat(
    bought: Purchase,
    actual: ActualTable,
    raw_g: float | None,
    served_g: float | None,
    left_g: float | None,
    eaten_g: float | None,
    coin: Coin,
) -> list[Why]:
    """Return what yield, portions and waste were worth, at the cost of served meat.

    They explain the quantity and are no further part of the difference.
    """
    expected_g = sum(dish.expected_g for dish in bought.dishes)
    demand_g = sum(dish.demand_g for dish in bought.dishes)
    planned_raw_g = sum(dish.purchase_g for dish in bought.dishes)
    cost = actual.meat_cost / Decimal(repr(served_g)) if served_g else None
    found = []

    def worth(mass_g: float, what: str) -> None:
        if cost is not None:
            shown = show_mass(abs(mass_g) * 1000)
            found.append(Why(f"of which {what} ({shown})", coin(Decimal(repr(mass_g)) * cost)))

    if raw_g and served_g is not None:
        worth(served_g - raw_g * expected_g / planned_raw_g, "yield against the plan")
    if eaten_g is not None:
        worth(demand_g - eaten_g * actual.guests, "portions and guests against the plan")
    if left_g is not None:
        worth(-left_g, "left over")
    return found


def _teaches(
    eaten_g: float | None, raw_g: float | None, served_g: float | None, *, is_told: bool
) -> list[str]:
    """Return what the job teaches; a meal that is on record with its cook needs no more telling."""
    lines = []
    if eaten_g is not None:
        more = "" if is_told else " Enter the meal with its cook: the next plan learns from it."
        lines.append(f"Guests ate {show_mass(eaten_g * 1000)} each.{more}")
    if raw_g and served_g is not None:
        lines.append(
            f"{show_share(served_g / raw_g, 1)} of what was bought was served (n = 1 cook)."
        )
    return lines
