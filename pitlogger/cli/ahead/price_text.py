"""The answer of `pitlogger price` for people."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from pitlogger.formats.money import rounded
from pitlogger.model.quantities import show_mass


def card_text(document: dict[str, Any]) -> str:
    """Return the card for people; money rounded to its smallest unit."""
    card, name = document["card"], document["currency"]
    cost, credit, net = (rounded(card[key], name) for key in ("cost", "credit", "net_cost"))
    lines = [f"cost {cost} {name}".rstrip() + f", credit {credit}, net {net}"]
    lines += [
        _left_text(what, card[what], name)
        for what in ("usable", "salable")
        if card[what] is not None
    ]
    if "portion" in document:
        portion = document["portion"]
        lines.append(
            f"portion {rounded(portion['cost'], name)}; {portion['portions']:.1f} portions"
        )
        lines += [f"{key.replace('_', ' ')}: {_shown(key, value, name)}"
                  for key, value in document["prices"].items()]  # fmt: skip
    if "at_new_price" in document:
        new = document["at_new_price"]
        lines.append(f"at the new price: {rounded(new['cost_per_lb'], name)}/lb ({new['note']})")
    return "\n".join(lines)


def _shown(key: str, value: Decimal | int | str, currency: str) -> str:
    """Return money rounded, a percentage to a hundredth, a number of guests as it is."""
    if key == "break_even_guests":
        return str(value)
    return str(rounded(Decimal(value), "" if "_pct" in key else currency))


def _left_text(what: str, left: dict[str, Decimal], currency: str) -> str:
    mass = show_mass(float(left["mass_g"]) * 1000)
    per_lb, per_kg = (rounded(left[key], currency) for key in ("cost_per_lb", "cost_per_kg"))
    share = f"{left['pct_of_purchased']:.1f} % of purchased"
    return f"{what} {mass}: {share}, {per_lb}/lb, {per_kg}/kg, factor {left['factor']:.4f}"
