"""The shopping list: meat by plan, and whatever else is written down."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from pitlogger import __version__
from pitlogger.errors import UsageError
from pitlogger.model.cooks import CUTS
from pitlogger.model.quantities import show_mass, show_share
from pitlogger.reports.sheet import Block, Heading, Lines, Sheet, Table
from pitlogger.views import words
from pitlogger.views.language import tr

_NEEDED = ("recommended", "purchase_g", "options")
BOX = "[  ]"


def shopping_list(
    plans: Sequence[dict[str, Any]], items: Sequence[str], name: str = "", unit: str = "lb-oz"
) -> Sheet:
    """Return the list.

    Args:
        plans: Documents of ``pitlogger plan --json``, of one cut or of a menu each.
        items: Further lines, as written.
        unit: Of mass.

    Raises:
        UsageError: A document that is no plan.
    """
    blocks: list[Block] = []
    if plans:
        heads = (
            "",
            tr("cut"),
            tr("pieces"),
            tr("mass in all"),
            tr("a piece about"),
            tr("chance of enough"),
        )
        rows = tuple(
            _row({"cook": plan.get("cook", ""), **dish}, unit)
            for plan in plans
            for dish in plan.get("dishes", [plan])
        )
        blocks += [Heading(tr("Meat")), Table(heads, rows, numbers=frozenset({2, 3, 4, 5}))]
        blocks.append(Lines(tuple(dict.fromkeys(_notes(plans)))))
    if items:
        blocks += [
            Heading(tr("Beside the meat")),
            Table(("", tr("what")), tuple((BOX, i) for i in items)),
        ]
    if not blocks:
        blocks.append(Lines((tr("Nothing to buy."),)))
    blocks += [Heading(tr("Written in")), Table(("", tr("what"), tr("how much")), (), blank=4)]
    made = tr("Made by pitlogger {version}. Check the packets for allergens.", version=__version__)
    return Sheet(
        tr("Shopping list: {name}", name=name) if name else tr("Shopping list"),
        blocks=tuple(blocks),
        made=made,
    )


def _row(plan: dict[str, Any], unit: str) -> tuple[str, ...]:
    if any(key not in plan for key in _NEEDED):
        raise UsageError(
            "this is no plan: expected the document that 'pitlogger plan --json' prints, with "
            f"{', '.join(_NEEDED)}"
        )
    pieces, mass_g = plan["recommended"], plan["purchase_g"]
    cut = str(plan.get("cut", ""))
    label = words.cut(cut) if cut in CUTS else cut
    label = f"{label} ({plan['cook']})" if plan["cook"] else label
    if pieces is None or mass_g is None:
        return (
            BOX,
            label,
            tr("as found"),
            "",
            "",
            tr("not reached with the pieces named"),
        )
    chosen = next((o for o in plan["options"] if o["pieces"] == pieces), None)
    return (
        BOX,
        label,
        str(pieces),
        show_mass(mass_g * 1000, unit),
        show_mass(mass_g * 1000 / pieces, unit) if pieces else "",
        show_share(chosen["p_enough"]) if chosen else "",
    )


def _notes(plans: Sequence[dict[str, Any]]) -> Iterator[str]:
    for plan in plans:
        for part in (*plan.get("dishes", ()), plan):
            yield from map(str, part.get("notes", ()))
