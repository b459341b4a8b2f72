"""What the kitchen works from: shopping list by supplier, run sheet, packing list."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

from pitlogger.model.cooks import together
from pitlogger.model.quantities import show_mass
from pitlogger.reports.sheet import CAUTIONS, Block, Heading, Lines, Sheet, Table
from pitlogger.reports.shopping import BOX
from pitlogger.views.words import cut as cut_word

# What a job away from the kitchen is short of, sooner or later: common practice, no source.
PACKED = (
    "probe and spare probe, batteries", "scale", "gloves, heat and food", "knives, boards, tongs",
    "pans, lids, foil, paper", "boxes to hold hot, towels", "hand washing: water, soap, towels",
    "sanitiser and test strips", "labels and pen", "first-aid kit, fire extinguisher",
    "serving spoons, plates, napkins", "bin bags", "the invoice",
)  # fmt: skip


def _bought_as(dish: dict[str, Any]) -> str:
    """Return the words of a cut as the butcher knows it, and of the dish it is for."""
    cut = cut_word(dish["cut"])
    return cut if dish["name"] == cut else f"{cut} ({dish['name']})"


def shopping_by_supplier(document: dict[str, Any], unit: str = "lb-oz") -> Sheet:
    """Return what is still to be bought for a job, by supplier.

    Args:
        document: Of ``pitlogger job show --json``.
        unit: Of mass.
    """
    blocks: list[Block] = []
    for supplier in dict.fromkeys(dish["supplier"] for dish in document["dishes"]):
        rows = tuple(
            (
                BOX,
                _bought_as(dish),
                str(dish["order_more"]),
                show_mass(dish["billed_g"] * 1000 * dish["order_more"] / dish["pieces"], unit),
                _price(dish, unit, document["currency"]),
            )
            for dish in document["dishes"]
            if dish["supplier"] == supplier and dish["order_more"] > 0
        )
        if rows:
            blocks.append(Heading(supplier or "Supplier not named"))
            heads = ("", "meat", "pieces", "mass in all", "price")
            blocks.append(Table(heads, rows, numbers=frozenset({2, 3, 4})))
    if not blocks:
        blocks.append(Lines(("All the meat is there.",)))
    blocks += [Heading("Beside the meat"), Table(("", "what", "how much"), (), blank=8)]
    return Sheet(f"Shopping list: {document['job']}", blocks=tuple(blocks))


def _price(dish: dict[str, Any], unit: str, currency: str) -> str:
    """Return the price of the meat for the unit that masses are shown in."""
    if not unit.startswith("lb"):
        return f"{dish['price_per_kg']} {currency}/kg".replace(" /", "/")
    per_lb = dish["meat"] * 453_592_370 / Decimal(round(dish["billed_g"] * 1_000_000))
    return f"{per_lb:.2f} {currency}/lb".replace(" /", "/")


# Who does what, by the first words of an event; a labour role may say otherwise with `does`.
_WORK = (("prep", ("move to the refrigerator", "into the brine", "trim")),
         ("serve", ("leave", "arrived", "serve")))  # fmt: skip
_ROLES = ("prep", "pit", "serve")
_HOURLY = "look at fire, pit and cores; write down what they say"


def run_sheet(document: dict[str, Any]) -> Sheet:
    """Return what each person does when, hour by hour, with room for initials; then plan B."""
    if document["schedule"] is None:
        blocks: tuple[Block, ...] = (Lines(("No serving time is named, so there are no times.",)),)
        return Sheet(f"Run sheet: {document['job']}", blocks=blocks)
    offset = document["utc_offset_min"]
    zone = None if offset is None else timezone(timedelta(minutes=offset))
    found: list[Block] = []
    work = _work(document, zone)
    for does in _ROLES:
        people = [one["role"] for one in document["people"] if does in one["does"]]
        rows = [row for row in work if row[0] == does]
        if rows:
            found.append(Heading(f"{', '.join(people) or 'Not named'}: {_WORDS[does]}"))
            timed = tuple((f"{at:%a %H:%M}", what, pieces, "") for _, at, what, pieces in rows)
            found.append(Table(("time", "what", "pieces", "initials"), timed))
    later = [
        (f"{_minute(one['at'], zone):%a %H:%M}", f"unless {one['unless']}: {one['then']}",
         _called(one["pieces"], document), "")
        for one in document["schedule"]["plan_b"]
    ]  # fmt: skip
    heads = ("time", "what (common practice, no source)", "pieces", "initials")
    found += [Heading("If it goes otherwise"), Table(heads, tuple(later))]
    found.append(Lines(tuple(n for n in document["schedule"]["notes"] if "--" not in n)))
    return Sheet(f"Run sheet: {document['job']}", about=document["place"], blocks=tuple(found),
                 cautions=CAUTIONS)  # fmt: skip


_WORDS = {"prep": "before the fire", "pit": "at the pit", "serve": "on the way and at the table"}


def _minute(at: str, zone: timezone | None) -> datetime:
    return (datetime.fromisoformat(at) + timedelta(seconds=30)).astimezone(zone)


def _called(pieces: Sequence[str], document: dict[str, Any]) -> str:
    """Return pieces by the names of their dishes: brisket-packer-2 is smoked brisket-2."""
    names = {dish["cut"]: dish["name"] for dish in document["dishes"]}
    cuts = [
        next((cut for cut in names if f"{piece}-".startswith(f"{cut}-")), "") for piece in pieces
    ]
    return together(
        f"{names[cut]}{piece[len(cut) :]}" if cut else piece
        for piece, cut in zip(pieces, cuts, strict=True)
    )


def _work(document: dict[str, Any], zone: timezone | None) -> list[tuple[str, datetime, str, str]]:
    """Return all work in order of time; while a fire burns somebody looks at it every hour."""
    rows = []
    for event in document["schedule"]["events"]:
        does = next((d for d, starts in _WORK if event["what"].startswith(starts)), "pit")
        rows.append(
            (does, _minute(event["at"], zone), event["what"], _called(event["pieces"], document))
        )
    burning = [at for does, at, _, _ in rows if does == "pit"]
    if burning:
        hour = burning[0].replace(minute=0, second=0) + timedelta(hours=1)
        while hour < burning[-1]:
            rows.append(("pit", hour, _HOURLY, ""))
            hour += timedelta(hours=1)
    return sorted(rows, key=lambda row: row[1])


def packing_list(document: dict[str, Any], unit: str = "lb-oz") -> Sheet:
    """Return what goes on the van."""
    meat = tuple(
        (BOX, dish["name"], f"{dish['pieces']} pieces, {_about(dish['expected_g'], unit)}")
        for dish in document["dishes"]
    )
    things = tuple((BOX, what, "") for what in PACKED)
    heads = ("", "what", "how much")
    blocks = (
        Heading("Food"),
        Table(heads, meat, blank=4),
        Heading("Beside the food"),
        Table(heads, things, blank=4),
    )
    people = document["guests"] + document["children"]
    return Sheet(
        f"Packing list: {document['job']}", f"{people} guests, {document['place']}", blocks
    )


def _about(mass_g: float, unit: str) -> str:
    return f"about {show_mass(mass_g * 1000, unit)} to serve"
