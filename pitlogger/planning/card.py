"""The yield-test card: what a portion costs, and what to charge for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from pitlogger.errors import FieldError
from pitlogger.formats.money import cents, per_unit
from pitlogger.model.cooks import ByProduct
from pitlogger.planning.document import as_fields
from pitlogger.yields.money.pricing import (
    break_even_guests,
    price_for_food_cost,
    price_for_margin,
    price_for_prime_cost,
)
from pitlogger.yields.yield_test import Card, CutOff

_CUT_OFF = (ByProduct.TRIM_FAT, ByProduct.TRIM_LEAN, ByProduct.SKIN)
_AFTER_COOKING = (ByProduct.BONE, ByProduct.WASTE, ByProduct.TASTING)


@dataclass(frozen=True, slots=True)
class CardQuestion:
    """What a card is asked; masses in grams, money per gram or as an amount.

    Attributes:
        masses_g: By checkpoint and by-product; ``purchased`` or ``label``, and one of
            ``trimmed``, ``rested``, ``off-pit``, ``carved``.
        price_per_g: Paid for the meat.
        credits_per_g: Market price of by-products that are sold or used.
        parts: By-products of other names.
        as_printed: Round each credit line to a hundredth.
        target_pct, prime_cost_pct: Wanted food cost and prime cost, % of the price.
    """

    masses_g: Mapping[str, Decimal]
    price_per_g: Decimal
    credits_per_g: Mapping[str, Decimal] = field(default_factory=dict)
    parts: tuple[CutOff, ...] = ()
    as_printed: bool = False
    portion_g: Decimal | None = None
    new_price_per_g: Decimal | None = None
    target_pct: Decimal | None = None
    margin: Decimal | None = None
    menu_price: Decimal | None = None
    labour: Decimal | None = None
    prime_cost_pct: Decimal | None = None
    fixed: Decimal | None = None
    currency: str = ""


@dataclass(frozen=True, slots=True)
class PartLine:
    """A by-product and what it is worth."""

    part: str
    mass_g: Decimal
    price_per_kg: Decimal
    value: Decimal


@dataclass(frozen=True, slots=True)
class Left:
    """What is left of the purchase at one stage, and what it costs."""

    mass_g: Decimal
    pct_of_purchased: Decimal
    cost_per_kg: Decimal
    cost_per_lb: Decimal
    gross_cost_per_lb: Decimal
    factor: Decimal


@dataclass(frozen=True, slots=True)
class CardShown:
    """The butcher's yield test and the cooking-loss test."""

    purchased_g: Decimal
    cost: Decimal
    parts: tuple[PartLine, ...]
    credit: Decimal
    cutting_loss_g: Decimal | None
    net_cost: Decimal
    loss_in_cooking_g: Decimal | None
    usable: Left | None
    salable: Left | None


@dataclass(frozen=True, slots=True)
class PortionCost:
    """A portion of what can be served."""

    portion_g: Decimal
    cost: Decimal
    factor_per_lb_price: Decimal
    portions: Decimal


@dataclass(frozen=True, slots=True)
class Prices:
    """The prices asked for."""

    by_food_cost: Decimal | None = None
    by_margin: Decimal | None = None
    by_prime_cost: Decimal | None = None
    margin_at_menu_price: Decimal | None = None
    food_cost_pct_at_menu_price: Decimal | None = None
    break_even_guests: int | None = None


@dataclass(frozen=True, slots=True)
class NewPrice:
    """The card at another price of the meat."""

    cost_per_lb: Decimal
    cost_per_kg: Decimal
    portion_cost: Decimal | None
    credits_unchanged_cost_per_lb: Decimal
    note: str


@dataclass(frozen=True, slots=True)
class CardAnswer:
    """A card, and what was asked of it."""

    currency: str
    card: CardShown
    portion: PortionCost | None = None
    prices: Prices | None = None
    at_new_price: NewPrice | None = None

    def document(self) -> dict[str, Any]:
        """Return it as ``pitlogger price --json`` prints it."""
        return as_fields(self)


def price_card(question: CardQuestion) -> CardAnswer:
    """Return the card, with portion, prices and new price where they are asked for.

    Raises:
        FieldError: Something needed is missing or contradicts the rest.
    """
    card = _card(question)
    mass_g = card.salable_g or card.usable_g
    if mass_g is None:
        raise FieldError("masses_g", "give trimmed, rested or carved: without it nothing is usable")
    if question.portion_g is None and (of := _of_a_portion(question)):
        raise FieldError(of, f"{{{of}}} is about a portion: give {{portion_g}} too")
    portion = None if question.portion_g is None else _portion(card, mass_g, question.portion_g)
    return CardAnswer(
        question.currency,
        _shown(card),
        portion,
        None if portion is None else _prices(question, portion.cost),
        _at_new_price(card, question, mass_g),
    )


def _of_a_portion(question: CardQuestion) -> str:
    """Return what was asked that has no answer without a portion."""
    asked = ("target_pct", "margin", "menu_price", "prime_cost_pct", "fixed")
    return next((name for name in asked if getattr(question, name) is not None), "")


def _card(question: CardQuestion) -> Card:
    masses = question.masses_g
    if "purchased" not in masses and "label" not in masses:
        raise FieldError("masses_g", "purchased is missing: what was bought and paid for")
    return Card(
        masses.get("label", masses.get("purchased", Decimal(0))),
        question.price_per_g,
        parts=_parts(question),
        usable_g=masses.get("trimmed"),
        cooked_g=masses.get("rested", masses.get("off-pit")),
        salable_g=_salable(masses),
        as_printed=question.as_printed,
    )


def _salable(masses: Mapping[str, Decimal]) -> Decimal | None:
    """Return what can be served: carved, else cooked less bone, waste and tasting."""
    if "carved" in masses:
        return masses["carved"]
    cooked = masses.get("rested", masses.get("off-pit"))
    if cooked is None:
        return None
    return cooked - sum((masses.get(part, Decimal(0)) for part in _AFTER_COOKING), Decimal(0))


def _parts(question: CardQuestion) -> tuple[CutOff, ...]:
    masses, credited = question.masses_g, question.credits_per_g
    if unknown := [name for name in credited if name not in masses]:
        reason = (
            f"{{credits_per_g}} {unknown[0]}: it has no mass; add {unknown[0]}=... to {{masses_g}}"
        )
        raise FieldError("credits_per_g", reason)
    cut_off = [name for name in masses if name in _CUT_OFF or name in credited]
    named = [CutOff(name, masses[name], credited.get(name, Decimal(0))) for name in cut_off]
    return (*named, *question.parts)


def _shown(card: Card) -> CardShown:
    parts = tuple(
        PartLine(
            part.name,
            part.mass_g,
            per_unit(part.price_per_g, "kg"),
            cents(part.value) if card.as_printed else part.value,
        )
        for part in card.parts
    )
    usable, salable = (
        None if mass_g is None else _left(card, mass_g)
        for mass_g in (card.usable_g, card.salable_g)
    )
    return CardShown(
        card.purchased_g,
        card.cost,
        parts,
        card.credit,
        card.cutting_loss_g,
        card.net_cost,
        card.loss_in_cooking_g,
        usable,
        salable,
    )


def _left(card: Card, mass_g: Decimal) -> Left:
    if mass_g <= 0:
        raise FieldError("masses_g", "bones and waste weigh as much as all that was cooked")
    per_g = card.cost_per_g(mass_g)
    return Left(
        mass_g,
        card.ratio(mass_g) * 100,
        per_unit(per_g, "kg"),
        per_unit(per_g, "lb"),
        per_unit(card.cost / mass_g, "lb"),
        card.factor(mass_g),
    )


def _portion(card: Card, mass_g: Decimal, portion_g: Decimal) -> PortionCost:
    if portion_g <= 0:
        raise FieldError("portion_g", "{portion_g} is zero")
    cost = card.cost_per_g(mass_g) * portion_g
    return PortionCost(portion_g, cost, cost / per_unit(card.price_per_g, "lb"), mass_g / portion_g)


def _prices(question: CardQuestion, cost: Decimal) -> Prices:
    """Return the prices asked for of a portion that costs so much."""
    found = Prices()
    if question.target_pct is not None:
        found = replace(found, by_food_cost=price_for_food_cost(cost, question.target_pct / 100))
    if question.margin is not None:
        found = replace(found, by_margin=price_for_margin(cost, question.margin))
    if question.prime_cost_pct is not None:
        if question.labour is None:
            reason = "{prime_cost_pct} needs {labour}, the labour in a portion"
            raise FieldError("labour", reason)
        prime = price_for_prime_cost(cost, question.labour, question.prime_cost_pct / 100)
        found = replace(found, by_prime_cost=prime)
    if question.menu_price is not None:
        if question.menu_price == 0:
            raise FieldError("menu_price", "{menu_price} is zero")
        found = replace(
            found,
            margin_at_menu_price=question.menu_price - cost,
            food_cost_pct_at_menu_price=cost / question.menu_price * 100,
        )
    if question.fixed is not None:
        if question.menu_price is None:
            raise FieldError("menu_price", "{fixed} needs {menu_price}: what a guest pays")
        guests = break_even_guests(question.fixed, question.menu_price, cost)
        found = replace(found, break_even_guests=guests)
    return found


def _at_new_price(card: Card, question: CardQuestion, mass_g: Decimal) -> NewPrice | None:
    """Return the new cost by the factor, which takes by-product prices to move alike."""
    if question.new_price_per_g is None:
        return None
    new = replace(card, price_per_g=question.new_price_per_g)
    per_g = card.factor(mass_g) * new.price_per_g
    return NewPrice(
        per_unit(per_g, "lb"),
        per_unit(per_g, "kg"),
        None if question.portion_g is None else per_g * question.portion_g,
        per_unit(new.cost_per_g(mass_g), "lb"),
        "by the cost factor, as if by-product prices moved alike",
    )
