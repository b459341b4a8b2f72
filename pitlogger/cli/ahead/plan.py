"""`pitlogger plan`: how much raw meat for these guests, and is it enough?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pitlogger.cli.ahead.history import cut_option, history_option, record_option
from pitlogger.cli.output import emit, json_option
from pitlogger.model.cooks import WRAPS


@click.command("plan")
@click.option("--guests", type=int, required=True, metavar="N", help="Adults booked.")
@click.option("--children", type=int, default=0, metavar="N", help="Children booked besides.")
@click.option("--child-share", type=float, default=50.0, metavar="PCT", show_default=True,
              help="A child's portion, % of an adult's.")  # fmt: skip
@click.option("--portion", metavar="AMOUNT", help="5oz, 140 g, '3 bones', '1 quarter'.")
@click.option("--portion-sd", metavar="MASS", help="How much portions differ (one sd).")
@cut_option
@click.option("--menu", metavar="DISHES", help="Several cuts: brisket-packer:60%,pork-butt:40%.")
@click.option("--piece-mass", metavar="MASS", help="Typical raw mass of a piece to buy.")
@click.option("--piece-sd", metavar="MASS", help="How much such pieces differ (one sd).")
@click.option("--pieces", metavar="MASSES", help="Pieces weighed: 13.2lb,14.8lb, in order.")
@click.option("--weighed-at", metavar="CHECKPOINT", default="purchased", show_default=True,
              help="Where --pieces were weighed; at-wrap re-plans in mid-cook.")  # fmt: skip
@click.option("--over", "over_pct", type=float, default=0.0, metavar="PCT", help="Margin on top.")
@click.option("--risk", "risk_pct", type=float, metavar="PCT",
              help="Accepted risk of running short (5; paid 1).")  # fmt: skip
@click.option("--show-rate", "show_rate_pct", type=float, metavar="PCT", help="Who comes (100).")
@click.option("--from-meals", is_flag=True,
              help="Portion and show rate as at your past meals, where not given.")  # fmt: skip
@click.option("--grade", metavar="TEXT", help="Of the meat to buy, if past grades are on record.")
@click.option("--supplier", metavar="TEXT", help="Likewise its supplier.")
@click.option("--wrap", type=click.Choice(WRAPS), help="How it will be wrapped.")
@click.option("--pull-at", metavar="TEMP", help="At what core temperature it comes off: 203F.")
@click.option("--on-pit", metavar="PIT", help="On which pit it will be cooked.")
@click.option("--profile", type=click.Choice(["paid", "party"]),
              help="paid: the guarantee is owed. party: risk and show rate are yours.")  # fmt: skip
@click.option("--light-by", metavar="HH:MM", help="When another piece would have to be lit.")
@click.option("--serve-at", metavar="TIME", help="When it is eaten; says --light-by by itself.")
@click.option("--price", metavar="PRICE", help="Price of the raw meat, 4.29/lb.")
@click.option("--budget", metavar="AMOUNT", help="Money for raw meat; needs --price.")
@history_option
@click.option("--prior", type=click.Choice(["cut", "flat"]), default="cut", show_default=True,
              help="Start from published figures, or from own cooks alone.")  # fmt: skip
@click.option("--seed", type=int, help="Accepted and not needed: nothing is drawn at random.")
@click.option("--svg", type=click.Path(path_type=Path), help="Also write the curve.")
@record_option
@json_option
def plan(**given: Any) -> None:
    """Say how many pieces to buy for GUESTS, and how likely each number is enough.

    The mean yield is shared by all pieces, so its uncertainty does not average out; pieces
    already weighed (--pieces) narrow the answer most.
    """
    from pitlogger.cli.ahead.plan_answer import Given, answer
    from pitlogger.cli.ahead.plan_text import answer_text

    as_json, svg = given.pop("as_json"), given.pop("svg")
    document = answer(Given(**given))
    if svg is not None:
        from pitlogger.reports.pictures import enough_curve

        drawn = document["dishes"][0] if "dishes" in document else document
        svg.write_text(enough_curve(drawn), encoding="utf-8")
    emit(
        document, as_json, answer_text(document, given["guests"] + given["children"], given["cut"])
    )
