"""The yield-test card of `pitlogger price`: read, worked out, shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from pitlogger.errors import UsageError
from pitlogger.formats.money import amount, cents, per_unit, price_per_g, rounded
from pitlogger.formats.written_mass import WrittenMass, checkpoint_name, parse_weights
from pitlogger.model.cooks import ByProduct
from pitlogger.model.quantities import parse_mass_mg, show_mass
from pitlogger.yields.money.pricing import (
    break_even_guests,
    price_for_food_cost,
    price_for_margin,
    price_for_prime_cost,
)
from pitlogger.yields.yield_test import Card, Part

_CUT_OFF = (ByProduct.TRIM_FAT, ByProduct.TRIM_LEAN, ByProduct.SKIN)
_AFTER_COOKING = (ByProduct.BONE, ByProduct.WASTE, ByProduct.TASTING)


@dataclass(frozen=True, slots=True)
class CardGiven:
    """The options as typed."""

    weights: str | None = None
    price: str | None = None
    credit: tuple[str, ...] = ()
    part: tuple[str, ...] = ()
    as_printed: bool = False
    portion: str | None = None
    new_price: str | None = None
    target_pct: float | None = None
    margin: str | None = None
    menu_price: str | None = None
    labour: str | None = None
    prime_cost_pct: float | None = None
    fixed: str | None = None
    currency: str = ""


def card_document(given: CardGiven) -> dict[str, Any]:
    """Return the price document of one card.

    Raises:
        UsageError: Something needed is missing or cannot be read.
    """
    if given.weights is None or given.price is None:
        raise UsageError(
            "give --weights with --price for a yield test, or --job FILE.toml for a whole job"
        )
    card = read_card(given)
    document: dict[str, Any] = {"currency": given.currency, "card": _card(card)}
    mass_g = card.salable_g or card.usable_g
    if mass_g is None:
        raise UsageError("--weights: give trimmed, rested or carved: without it nothing is usable")
    if given.portion is not None:
        portion_g = Decimal(parse_mass_mg(given.portion)) / 1000
        if portion_g == 0:
            raise UsageError("--portion is zero")
        cost = card.cost_per_g(mass_g) * portion_g
        document["portion"] = {
            "portion_g": portion_g,
            "cost": cost,
            "factor_per_lb_price": cost / per_unit(card.price_per_g, "lb"),
            "portions": mass_g / portion_g,
        }
        document["prices"] = _prices(given, cost)
    if given.new_price is not None:
        new = replace(card, price_per_g=price_per_g(given.new_price))
        document["at_new_price"] = _at_new_price(card, new, mass_g, document.get("portion"))
    return document


def read_card(given: CardGiven) -> Card:
    """Return the card that the weights, credits and parts describe."""
    weights = parse_weights(given.weights or "")
    masses = {name: Decimal(mass.mass_mg) / 1000 for name, mass in weights.items()}
    if "purchased" not in masses and "label" not in masses:
        raise UsageError("--weights: purchased is missing: what was bought and paid for")
    return Card(
        masses.get("label", masses.get("purchased", Decimal(0))),
        price_per_g(given.price or ""),
        parts=_parts(given, weights, masses),
        usable_g=masses.get("trimmed"),
        cooked_g=masses.get("rested", masses.get("off-pit")),
        salable_g=_salable(masses),
        as_printed=given.as_printed,
    )


def _salable(masses: Mapping[str, Decimal]) -> Decimal | None:
    """Return what can be served: carved, else cooked less bone, waste and tasting."""
    if "carved" in masses:
        return masses["carved"]
    cooked = masses.get("rested", masses.get("off-pit"))
    if cooked is None:
        return None
    return cooked - sum((masses.get(part, Decimal(0)) for part in _AFTER_COOKING), Decimal(0))


def _parts(
    given: CardGiven, weights: Mapping[str, WrittenMass], masses: Mapping[str, Decimal]
) -> tuple[Part, ...]:
    credited = dict(_credit(text) for text in given.credit)
    unknown = [name for name in credited if name not in masses]
    if unknown:
        raise UsageError(
            f"--credit {unknown[0]}: it has no mass; add {unknown[0]}=... to --weights"
        )
    cut_off = [name for name in weights if name in _CUT_OFF or name in credited]
    named = [Part(name, masses[name], credited.get(name, Decimal(0))) for name in cut_off]
    return (*named, *map(_other_part, given.part))


def _credit(text: str) -> tuple[str, Decimal]:
    name, equals, price = text.partition("=")
    if not equals:
        raise UsageError(f"--credit: '{text}' has no price; write trim-fat=0.25/lb")
    return checkpoint_name(name), price_per_g(price)


def _other_part(text: str) -> Part:
    name, equals, rest = text.partition("=")
    mass, _, price = rest.partition("@")
    if not equals or not name.strip():
        raise UsageError(f"--part: '{text}' cannot be read; write 'stew=3lb@5.29/lb'")
    mass_g = Decimal(parse_mass_mg(mass)) / 1000
    return Part(name.strip(), mass_g, price_per_g(price) if price else Decimal(0))


def _card(card: Card) -> dict[str, Any]:
    document: dict[str, Any] = {
        "purchased_g": card.purchased_g,
        "cost": card.cost,
        "parts": [
            {
                "part": part.name,
                "mass_g": part.mass_g,
                "price_per_kg": per_unit(part.price_per_g, "kg"),
                "value": cents(part.value) if card.as_printed else part.value,
            }
            for part in card.parts
        ],
        "credit": card.credit,
        "cutting_loss_g": card.cutting_loss_g,
        "net_cost": card.net_cost,
        "loss_in_cooking_g": card.loss_in_cooking_g,
    }
    for what, mass_g in (("usable", card.usable_g), ("salable", card.salable_g)):
        document[what] = None if mass_g is None else _left(card, mass_g)
    return document


def _left(card: Card, mass_g: Decimal) -> dict[str, Decimal]:
    if mass_g <= 0:
        raise UsageError("--weights: bones and waste weigh as much as all that was cooked")
    per_g = card.cost_per_g(mass_g)
    return {
        "mass_g": mass_g,
        "pct_of_purchased": card.ratio(mass_g) * 100,
        "cost_per_kg": per_unit(per_g, "kg"),
        "cost_per_lb": per_unit(per_g, "lb"),
        "gross_cost_per_lb": per_unit(card.cost / mass_g, "lb"),
        "factor": card.factor(mass_g),
    }


def _prices(given: CardGiven, cost: Decimal) -> dict[str, Decimal | int]:
    """Return the prices asked for, a key each."""
    found: dict[str, Decimal | int] = {}
    if given.target_pct is not None:
        found["by_food_cost"] = price_for_food_cost(cost, _share(given.target_pct))
    if given.margin is not None:
        found["by_margin"] = price_for_margin(cost, amount(given.margin, "--margin"))
    if given.prime_cost_pct is not None:
        if given.labour is None:
            raise UsageError("--prime-cost-pct needs --labour, the labour in a portion")
        labour = amount(given.labour, "--labour")
        found["by_prime_cost"] = price_for_prime_cost(cost, labour, _share(given.prime_cost_pct))
    if given.menu_price is not None:
        asked = amount(given.menu_price, "--menu-price")
        if asked == 0:
            raise UsageError("--menu-price is zero")
        found["margin_at_menu_price"] = asked - cost
        found["food_cost_pct_at_menu_price"] = cost / asked * 100
        if given.fixed is not None:
            fixed = amount(given.fixed, "--fixed")
            found["break_even_guests"] = break_even_guests(fixed, asked, cost)
    elif given.fixed is not None:
        raise UsageError("--fixed needs --menu-price: what a guest pays")
    return found


def _share(pct: float) -> Decimal:
    return Decimal(str(pct)) / 100


def _at_new_price(
    card: Card, new: Card, mass_g: Decimal, portion: Mapping[str, Decimal] | None
) -> dict[str, Decimal | str | None]:
    """Return the new cost by the factor, which takes by-product prices to move alike."""
    per_g = card.factor(mass_g) * new.price_per_g
    return {
        "cost_per_lb": per_unit(per_g, "lb"),
        "cost_per_kg": per_unit(per_g, "kg"),
        "portion_cost": None if portion is None else per_g * portion["portion_g"],
        "credits_unchanged_cost_per_lb": per_unit(new.cost_per_g(mass_g), "lb"),
        "note": "by the cost factor, as if by-product prices moved alike",
    }


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
