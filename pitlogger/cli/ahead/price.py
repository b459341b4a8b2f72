"""`pitlogger price`: what a portion costs, what to charge, what a job earns."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pitlogger.cli.ahead.history import history_option, record_option
from pitlogger.cli.output import emit, json_option


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
@click.option("--job", "job_file", type=click.Path(path_type=Path, dir_okay=False),
              help="Quote a whole job from a job file (TOML).")  # fmt: skip
@click.option("--currency", default="", help="Name of the currency; money has no other meaning.")
@history_option
@record_option
@json_option
def price(as_json: bool, job_file: Path | None, history_file: Path | None, **given: Any) -> None:
    """Work out cost and price.

    With --weights and --price: the butcher's yield test and the cooking-loss test. With
    --job: a quote for low, middle and high yield and meat price.
    """
    from pitlogger.errors import UsageError

    if job_file is not None:
        if given["weights"] or given["price"]:
            raise UsageError("give --job for a whole job or --weights for one card, not both")
        from pitlogger.cli.ahead.price_job import job_document, job_text

        document = job_document(job_file, history_file)
        emit(document, as_json, job_text(document))
        return
    from pitlogger.cli.ahead.price_card import CardGiven, card_document, card_text

    document = card_document(CardGiven(**given))
    emit(document, as_json, card_text(document))
