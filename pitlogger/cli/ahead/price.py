"""`pitlogger price`: what a portion costs, and what to charge."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

import click

from pitlogger.cli.ahead.history import own_currency, record_option
from pitlogger.cli.ahead.options import named_as_options
from pitlogger.cli.output import emit, json_option
from pitlogger.errors import FieldError, UsageError

if TYPE_CHECKING:
    from pitlogger.planning.card import CardQuestion
    from pitlogger.yields.yield_test import CutOff


@click.command("price")
@click.option(
    "--weights",
    metavar="LIST",
    help="Yield test: purchased=14.2lb,trimmed=11.3lb,trim-fat=2.05lb,carved=7.05lb",
)
@click.option("--price", metavar="PRICE", help="Price paid for the meat, 4.29/lb.")
@click.option(
    "--credit",
    multiple=True,
    metavar="PART=PRICE",
    help="Market price of a by-product that is sold or used: trim-fat=0.25/lb.",
)
@click.option("--part", multiple=True, metavar="NAME=MASS[@PRICE]",
              help="A by-product of another name: 'stew=3lb@5.29/lb'.")  # fmt: skip
@click.option("--as-printed", is_flag=True, help="Round each credit line to a hundredth.")
@click.option("--portion", metavar="MASS", help="Portion: 5oz.")
@click.option("--new-price", metavar="PRICE", help="The same card at a new market price.")
@click.option("--target-pct", type=float, metavar="PCT", help="Wanted food-cost percentage.")
@click.option("--margin", metavar="AMOUNT", help="Wanted contribution margin a portion.")
@click.option("--menu-price", metavar="AMOUNT", help="Price asked a portion.")
@click.option("--labour", metavar="AMOUNT", help="Labour a portion, for prime cost.")
@click.option("--prime-cost-pct", type=float, metavar="PCT", help="Wanted prime-cost percentage.")
@click.option("--fixed", metavar="AMOUNT", help="Fixed cost, for break-even with --menu-price.")
@click.option("--currency", help="Name of the currency; the daemon's own if one answers.")
@record_option
@json_option
def price(as_json: bool, **given: Any) -> None:
    """Work out cost and price: the butcher's yield test and the cooking-loss test.

    A whole job, with its quote: pitlogger job.
    """
    from pitlogger.cli.ahead.price_text import card_text
    from pitlogger.planning.card import price_card

    with named_as_options():
        document = price_card(question(given)).document()
    emit(document, as_json, card_text(document))


def question(given: dict[str, Any]) -> CardQuestion:
    """Return the question that the options as typed put.

    Raises:
        FieldError: One cannot be read.
    """
    from pitlogger.formats.written_mass import parse_weights
    from pitlogger.planning import fields
    from pitlogger.planning.card import CardQuestion

    if given["weights"] is None or given["price"] is None:
        raise UsageError(
            "give --weights with --price; for a whole job: pitlogger job show FILE.toml"
        )
    weights = fields.read("masses_g", parse_weights, given["weights"])
    asked: dict[str, Any] = {
        name: fields.money(given[name], name)
        for name in ("margin", "menu_price", "labour", "fixed")
        if given[name] is not None
    }
    for name in ("target_pct", "prime_cost_pct"):
        if given[name] is not None:
            asked[name] = Decimal(str(given[name]))
    if given["portion"] is not None:
        asked["portion_g"] = Decimal(repr(fields.grams(given["portion"], "portion_g", zero=True)))
    if given["new_price"] is not None:
        asked["new_price_per_g"] = fields.price(given["new_price"], "new_price_per_g")
    return CardQuestion(
        {name: Decimal(mass.mass_mg) / 1000 for name, mass in weights.items()},
        fields.price(given["price"], "price_per_g"),
        dict(map(_credit, given["credit"])),
        tuple(map(_part, given["part"])),
        given["as_printed"],
        currency=own_currency() if given["currency"] is None else given["currency"],
        **asked,
    )


def _credit(text: str) -> tuple[str, Decimal]:
    from pitlogger.formats.written_mass import checkpoint_name
    from pitlogger.planning import fields

    name, equals, price = text.partition("=")
    if not equals:
        raise FieldError("credits_per_g", f"'{text}' has no price; write trim-fat=0.25/lb")
    known = fields.read("credits_per_g", checkpoint_name, name)
    return known, fields.price(price, "credits_per_g")


def _part(text: str) -> CutOff:
    from pitlogger.planning import fields
    from pitlogger.yields.yield_test import CutOff

    name, equals, rest = text.partition("=")
    mass, _, price = rest.partition("@")
    if not equals or not name.strip():
        raise FieldError("parts", f"'{text}' cannot be read; write 'stew=3lb@5.29/lb'")
    mass_g = Decimal(repr(fields.grams(mass, "parts", zero=True)))
    return CutOff(name.strip(), mass_g, fields.price(price, "parts") if price else Decimal(0))
